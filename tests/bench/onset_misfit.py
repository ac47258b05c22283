"""Misfit and odds of a slump of good slides: what the flags `slumped` and `creep` hang on.

Run from the project's folder: `python -m tests.bench.onset_misfit [--n N] [--write]`. Slides of the
three laws of the family, by `tests.bench.slide_laws`, on other seeds than the other tables have.
"""

import argparse
from collections.abc import Iterator

import numpy as np

from tests.bench.heading import Table, columns
from tests.bench.onset_law import FAMILY, INPUTS, RATES, pooled
from tests.bench.onset_world import analysed, seeds, world
from tests.bench.slide_laws import Array

SEED = 12
SHARES = (0.5, 0.9, 0.98, 0.99, 0.995)


def lines_of(n: int) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    titles = [f"{what} at {100 * share:g} %" for what in ("χ²", "odds") for share in SHARES]
    yield from columns("rate °/s", "beams", "n", *titles)
    for rate in RATES:
        worlds = [world(law, rate, n, seeds(SEED, law, rate)) for law in FAMILY]
        for beams in (1, 2):
            found = pooled([analysed(one, beams) for one in worlds])
            both = [*_at_shares(found.misfit), *_at_shares(found.slump_odds)]
            values = (f"{value:.2f}" if np.isfinite(value) else "–" for value in both)
            yield f"| {rate:g} | {beams} | {len(found.misfit)} | {' | '.join(values)} |"


def _at_shares(values: Array) -> list[float]:
    """Quantiles that are values, so that what is infinite stays so."""
    found: list[float] = np.quantile(values, SHARES, method="inverted_cdf").tolist()
    return found


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
