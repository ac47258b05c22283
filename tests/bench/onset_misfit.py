"""How large the misfit of good slides is: what the flags `slumped` and `creep` hang on.

Run from the project's folder: `python -m tests.bench.onset_misfit [--n N] [--write]`. Slides of the
three laws of the family, by `tests.bench.slide_laws`, on other seeds than the other tables have.
"""

import argparse
from collections.abc import Iterator

import numpy as np

from tests.bench.heading import Table, columns
from tests.bench.onset_law import FAMILY, INPUTS, RATES, pooled
from tests.bench.onset_world import analysed, seeds, world

SEED = 12
SHARES = (0.5, 0.9, 0.98, 0.99, 0.995)


def lines_of(n: int) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    yield from columns("rate °/s", "beams", "n", *(f"χ² at {100 * share:g} %" for share in SHARES))
    for rate in RATES:
        worlds = [world(law, rate, n, seeds(SEED, law, rate)) for law in FAMILY]
        for beams in (1, 2):
            misfit = pooled([analysed(one, beams) for one in worlds]).misfit
            values = (f"{value:.2f}" for value in np.quantile(misfit, SHARES))
            yield f"| {rate:g} | {beams} | {len(misfit)} | {' | '.join(values)} |"


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=1000, help="slides of each law at each rate")
    parser.add_argument("--write", action="store_true", help="put the table into ONSET.md")
    options = parser.parse_args()
    table = Table("tests/bench/ONSET.md", "misfit", (*INPUTS, "tests/bench/onset_misfit.py"))
    table.show(lines_of(options.n), seed=SEED, write=options.write)


if __name__ == "__main__":
    main()
