"""Fill that slumps towards the beam, or into it, before the bag slides: what is flagged.

Run from the project's folder: `python -m tests.bench.onset_slump [--n N] [--rates R …]
[--beams B …] [--write]`. Slides of the three laws of the family at 0.3 and 1 °/s. "Into the beam":
the leading edge breaks the first beam from 2° to 0.05° before the slide (even in the logarithm) and
hangs over it by 0 to 2 mm from then on. "A corner": the same for a corner of the bag, whose leading
edge at the second beam lies as it should. "Towards it": the fill slumps by 2 to 8 mm and stops at
least 0.3 mm short of the beam. A wrong angle is one that is off by more than 4 u.
"""

import argparse
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np

from rig.sliding import longest_pass_s
from tests.bench.heading import Table, columns
from tests.bench.onset_law import FAMILY, INPUTS
from tests.bench.onset_world import GEOMETRY, Found, World, analysed, seeds, world

SEED = 14
RATES = (0.3, 1.0)
EARLY_DEG = (2.0, 0.5, 0.1, 0.05)
"""Rows of the table: from 2 to 0.5° before the slide, and so on."""
TITLES = (
    *("rate °/s", "beams", "slump", "n", "slumped %", "creep %", "refused %", "without a flag %"),
    *("wrong by > 4 u without a flag", "wrong in all", "worst ° without a flag"),
)


def into_the_beam(rate: float, n: int, most_deg: float, least_deg: float, corner: bool) -> World:
    """Slides of all laws whose edge broke the first beam before; times as in `World`."""
    parts = []
    for law in FAMILY:
        rng = seeds(SEED, law, rate + most_deg)
        over = rng.uniform(0.0, 2.0, n // 3)
        made = world(law, rate, n // 3, rng, leading_mm=None if corner else -over)
        early = np.exp(rng.uniform(np.log(least_deg), np.log(most_deg), n // 3))
        edges = made.edges_s.copy()
        edges[:, 0] = -early / rate
        parts.append((made, edges))
    return joined(
        rate, [World(rate, made.friction, made.onset_deg, edges) for made, edges in parts]
    )


def towards_it(rate: float, n: int) -> World:
    """Slides whose fill had slumped by 2 to 8 mm, not far enough to break the beam."""
    parts = []
    for law in FAMILY:
        rng = seeds(SEED + 1, law, rate)
        leading = rng.normal(8.0, 1.0, n // 3) - rng.uniform(2.0, 8.0, n // 3)
        parts.append(world(law, rate, n // 3, rng, leading_mm=np.maximum(leading, 0.3)))
    return joined(rate, parts)


def joined(rate: float, parts: list[World]) -> World:
    """Several worlds as one; friction is that of the first, and is not looked at."""
    onset = np.concatenate([part.onset_deg for part in parts])
    edges = np.concatenate([part.edges_s for part in parts])
    n = len(onset)
    first = parts[0].friction
    return World(rate, first.of(np.zeros(n, dtype=int)), onset, edges)


def summary(rate: float, beams: int, name: str, found: Found, refused: int) -> str:
    """One line of the table."""
    n = len(found.error) + refused
    wrong = np.abs(found.error) > 4.0 * found.u
    silent = found.flag == ""
    worst = np.abs(found.error[silent]).max() if silent.any() else 0.0
    cells = (
        f"{rate:g}",
        str(beams),
        name,
        str(n),
        f"{100.0 * np.sum(found.flag == 'slumped') / n:.1f}",
        f"{100.0 * np.sum(found.flag == 'creep') / n:.1f}",
        f"{100.0 * (refused + np.sum(found.flag == 'too quick')) / n:.1f}",
        f"{100.0 * np.sum(silent) / n:.1f}",
        str(int(np.sum(wrong & silent))),
        str(int(np.sum(wrong))),
        f"{worst:.2f}",
    )
    return f"| {' | '.join(cells)} |"


def seen(made: World) -> tuple[World, int]:
    """Those whose edges the analysis takes for a slide at all, and how many it does not.

    What breaks a beam for longer than a bag can take to pass is never taken for its slide.
    """
    longest = longest_pass_s(GEOMETRY.to_break_mm, GEOMETRY.length_mm, made.rate_deg_s) + 0.2
    kept = made.edges_s[:, 2] - made.edges_s[:, 0] <= longest
    part = World(
        made.rate_deg_s,
        made.friction.of(np.flatnonzero(kept)),
        made.onset_deg[kept],
        made.edges_s[kept],
    )
    return part, int(np.sum(~kept))


def lines_of(n: int, rates: Sequence[float], numbers: Sequence[Literal[1, 2]]) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    yield from columns(*TITLES)
    for rate in rates:
        good = joined(rate, [world(law, rate, n // 3, seeds(SEED, law, rate)) for law in FAMILY])
        cases = [("none: good slides", good), ("2 to 8 mm towards it", towards_it(rate, n))]
        for corner in (False, True):
            for most, least in pairwise(EARLY_DEG):
                what = "a corner" if corner else "into the beam"
                made = into_the_beam(rate, n, most, least, corner)
                cases.append((f"{what}, {most:g} to {least:g}° before", made))
        for beams in numbers:
            for name, made in cases:
                kept, refused = seen(made)
                yield summary(rate, beams, name, analysed(kept, beams), refused)


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=1000, help="slides of each row")
    parser.add_argument("--write", action="store_true", help="put the table into ONSET.md")
    parser.add_argument("--rates", type=float, nargs="*", default=RATES)
    parser.add_argument("--beams", type=int, nargs="*", choices=(1, 2), default=(1, 2))
    options = parser.parse_args()
    inputs = (
        *INPUTS,
        "rig/sliding.py",
        "tests/bench/onset_slump.py",
    )
    name = "slump" if len(options.beams) > 1 else f"slump, beams {options.beams[0]}"
    table = Table("tests/bench/ONSET.md", name, inputs)
    table.show(lines_of(options.n, options.rates, options.beams), seed=SEED, write=options.write)


if __name__ == "__main__":
    main()
