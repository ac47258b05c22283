"""Lifts by an unsteady hand with a phone on the board, through the code that the server runs.

Run from the project's folder: `python -m tests.bench.phone_lifts [--pairs N]`. With `--write` the
table goes into PHONE.md.

Each pair is another phone, board, zeroing and hand (`tests/fastsim/phone.py` says where the
figures come from; it shares nothing with the smoother): two bags, 12 to 32°, that differ by up to
4°, one lift each, at one pace between 0.5 and 3 °/s, even in its logarithm. A lift's error is its
angle less the bag's own at that pace. *Error over u* is the rms error over the rms stated standard
uncertainty, all layers together; a pair *holds* when the difference lies within 1.96 times what the
two lifts state to differ from lift to lift. Each trouble is doubled in turn.
"""

import argparse
from collections.abc import Iterator
from math import hypot

import numpy as np

from rig.errors import BadInputError
from rig.study.phone.lift import measure
from rig.study.phone.slide import PhoneSlide, slide_of
from rig.study.phone.taps import PRIOR
from tests.bench.heading import Table, columns
from tests.fastsim.phone import Phone, Trouble, lift
from tests.study.phone.lifted import trace_of

TABLE = Table(
    "tests/bench/PHONE.md",
    "lifts with a phone",
    (
        *(f"rig/study/phone/{name}.py" for name in ("lift", "slide", "smooth", "taps", "zero")),
        "tests/fastsim/phone.py",
        "tests/bench/phone_lifts.py",
    ),
)
CASES = {
    "as usual": Trouble(),
    "noise doubled": Trouble(noise=2.0),
    "bias doubled": Trouble(bias=2.0),
    "tremor doubled": Trouble(tremor=2.0),
    "uneven events doubled": Trouble(events=2.0),
    "taps of normal shape": Trouble(taps_are_normal=True),
}
WIDTH = 1.96


def pair(seed: int, trouble: Trouble) -> list[tuple[float, PhoneSlide]]:
    """Errors and slides of two bags."""
    random = np.random.default_rng(seed)
    phone = Phone(random, trouble)
    pace = float(np.exp(random.uniform(np.log(0.5), np.log(3.0))))
    first = random.uniform(12.0, 32.0)
    law_deg = random.uniform(-0.2, 0.2)
    zero = phone.zero()
    found = []
    for angle in (first, first + random.uniform(-4.0, 0.0)):
        samples, _ = lift(phone, angle, pace, law_deg)
        slide = slide_of(measure(trace_of(zero, samples, pace), "x", "x"), PRIOR)
        found.append((slide.angle_deg - angle, slide))
    return found


def row(name: str, trouble: Trouble, seeds: range) -> str:
    """A line of the table."""
    pairs, refused = [], 0
    for seed in seeds:
        try:
            pairs.append(pair(seed, trouble))
        except BadInputError:
            refused += 1
    flat = [one for two in pairs for one in two]
    errors = np.array([error for error, _ in flat])
    stated = np.array([slide.layers.u_deg for _, slide in flat])
    apart = np.array([second[0] - first[0] for first, second in pairs])
    wide = np.array([hypot(a[1].u_random_deg, b[1].u_random_deg) for a, b in pairs])
    layers = np.sqrt(np.mean([np.square(slide.layers) for _, slide in flat], axis=0))
    rms, u = (float(np.sqrt(np.mean(np.square(one)))) for one in (errors, stated))
    cells = (
        name,
        f"{len(flat)}",
        f"{refused}",
        f"{errors.mean():+.3f}",
        f"{rms:.3f}",
        f"{u:.3f}",
        f"{rms / u:.2f}",
        " / ".join(f"{one:.3f}" for one in layers),
        f"{100.0 * np.mean(np.abs(apart) <= WIDTH * wide):.1f}",
        f"±{np.median(WIDTH * wide):.2f}",
        f"{np.max(np.abs(errors) / stated):.1f}",
    )
    return f"| {' | '.join(cells)} |"


def lines_of(options: argparse.Namespace) -> Iterator[str]:
    """The lines of the table in Markdown."""
    yield from columns(
        "case",
        "lifts",
        "pairs refused",
        "mean error °",
        "rms error °",
        "rms u °",
        "error over u",
        "sensor / zero / tap / rate °",
        "pairs that hold %",
        "their median width °",
        "worst error in u",
    )
    seeds = range(options.first_seed, options.first_seed + options.pairs)
    for name, trouble in CASES.items():
        if options.case in (None, name):
            yield row(name, trouble, seeds)


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pairs", type=int, default=100)
    parser.add_argument("--first-seed", type=int, default=40000)
    parser.add_argument("--case", choices=CASES, help="this one alone")
    parser.add_argument("--write", action="store_true", help="put the table into PHONE.md")
    options = parser.parse_args()
    last = options.first_seed + options.pairs - 1
    TABLE.show(lines_of(options), seed=f"{options.first_seed} … {last}", write=options.write)


if __name__ == "__main__":
    main()
