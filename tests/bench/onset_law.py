"""How well edges tell the onset, under each law of friction, with one and two beams.

Run from the project's folder: `python -m tests.bench.onset_law [--n N] [--write]`. The slides come
from `tests.bench.slide_laws`, which shares no code with the analysis; its parameters are wider than
the twin's. Prints the tables of ONSET.md, and with `--write` puts them there.
"""

import argparse
from collections.abc import Iterator

import numpy as np

from tests.bench.heading import Table, columns
from tests.bench.onset_world import Found, analysed, rms, seeds, world
from tests.bench.slide_laws import LAWS

RATES = (0.1, 0.3, 1.0)
SEED = 13
FAMILY = LAWS[:3]
INPUTS = (
    *(
        f"rig/analysis/onset/{name}.py"
        for name in ("estimate", "fit", "laws", "posterior", "slump")
    ),
    *(f"tests/bench/{name}.py" for name in ("onset_law", "onset_world", "slide_laws")),
)
TITLES = (
    *("rate °/s", "beams", "law", "n", "bias °", "rms °", "in ± 2 u %", "median u °", "rms/u"),
    *("beyond 4 u", "slumped %", "creep %", "rms µk", "µk in ± 2 u %"),
)


def summary(rate: float, beams: int, law: str, found: Found) -> str:
    """One line of the table: of the valid slides, and how many were flagged."""
    kept = found.valid
    error, u = found.error[kept], found.u[kept]
    kinetic, u_kinetic = found.mu_kinetic_error[kept], found.u_mu_kinetic[kept]
    cells = (
        f"{rate:g}",
        str(beams),
        law,
        str(len(found.error)),
        f"{error.mean():+.3f}",
        f"{rms(error):.4f}",
        f"{100.0 * np.mean(np.abs(error) < 2.0 * u):.1f}",
        f"{np.median(u):.4f}",
        f"{rms(error) / rms(u):.2f}",
        str(int(np.sum(np.abs(error) > 4.0 * u))),
        f"{100.0 * np.mean((found.flag == 'slumped') | (found.flag == 'too quick')):.1f}",
        f"{100.0 * np.mean(found.flag == 'creep'):.1f}",
        f"{rms(kinetic):.4f}",
        f"{100.0 * np.mean(np.abs(kinetic) < 2.0 * u_kinetic):.1f}",
    )
    return f"| {' | '.join(cells)} |"


def pooled(parts: list[Found]) -> Found:
    """Several as one."""
    names = Found.__dataclass_fields__
    return Found(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def lines_of(n: int, rates: tuple[float, ...]) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    yield from columns(*TITLES)
    for rate in rates:
        worlds = {law: world(law, rate, n, seeds(SEED, law, rate)) for law in LAWS}
        for beams in (1, 2):
            found = {law: analysed(worlds[law], beams) for law in LAWS}
            for law in LAWS:
                yield summary(rate, beams, law, found[law])
            family = pooled([found[law] for law in FAMILY])
            yield summary(rate, beams, "the first three", family)
            limits = np.quantile(family.misfit, [0.99])
            print(f"(misfit that 1 % of the first three exceed: {limits[0]:.2f})", flush=True)


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=1000, help="slides of each law at each rate")
    parser.add_argument("--rates", type=float, nargs="*", default=RATES)
    parser.add_argument("--write", action="store_true", help="put the table into ONSET.md")
    options = parser.parse_args()
    table = Table("tests/bench/ONSET.md", "onset by law", INPUTS)
    table.show(lines_of(options.n, tuple(options.rates)), seed=SEED, write=options.write)


if __name__ == "__main__":
    main()
