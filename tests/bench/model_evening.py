"""An evening's trial: four bags before and after, three slides each; what it shows.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_evening --studies 300 --write

The scatter is what the model believes most (slides 0.25°, series 0.2°, sessions 0.4°, bags 1°; by
hand 0.4° between slides), but in the lines of calm sessions (0.25°). The air's humidity stays
within 48 to 52 %, and the bags respond by an effect of −1.9° with an own scatter of 0.35° for each
1.5°. The last column is the half width for one who knows all scatters, by the difference of means
alone: 1.96 of its standard deviations.
"""

import argparse
from collections.abc import Iterator
from dataclasses import replace
from math import log
from typing import NamedTuple

import numpy as np

from tests.bench.heading import Table, columns
from tests.bench.model_studies import FILE, INPUTS, Result, judged, kept, median_half, share
from tests.bench.worlds import Layout, World

TABLE = Table(FILE, "an evening", (*INPUTS, "tests/bench/model_evening.py"))
EFFECT = -1.9
PLAIN = World(
    residue_sd=0.0,
    board_residue_sd=0.0,
    range_face_sd=0.0,
    effect_face_sd=0.0,
    level_sd=3.0,
    doses={"soak": -log(1.0 + EFFECT / 4.0)},
    effects={"soak": EFFECT},
)
KINDS = {"no effect": "nothing", "−1.9°, saturating": "saturates", "−1.9°, linear": "linear"}


class Case(NamedTuple):
    """A line of the table."""

    controls: int
    by_hand: bool
    truth: str
    sessions: int = 1
    """Before, and after."""
    session_deg: float = PLAIN.session

    @property
    def label(self) -> str:
        """The trial in words."""
        words = "four treated" if not self.controls else "three treated, one control"
        words += ", two sessions each" if self.sessions == 2 else ""
        words += ", calm sessions" if self.session_deg != PLAIN.session else ""
        return words + (", by hand" if self.by_hand else "")

    @property
    def known_half_deg(self) -> float:
        """Half width for one who knows all scatters."""
        run = 0.4 if self.by_hand else PLAIN.run
        response = 0.0 if self.truth == "no effect" else PLAIN.response * EFFECT / -1.5
        change = 2.0 * (PLAIN.series**2 + run**2 / 3.0) / self.sessions
        variance = (change + response**2) / (4 - self.controls)
        shift = 2.0 * self.session_deg**2 / self.sessions
        variance += change / self.controls if self.controls else shift
        return float(1.96 * variance**0.5)

    def one(self, seed: int) -> Result:
        """A study of this seed."""
        bags: dict[str, str | None] = dict.fromkeys("ABCD", "soak")
        bags |= dict.fromkeys("DCB"[: self.controls])
        layout = Layout(
            bags,
            faces=("slick",),
            airs=(48.0, 52.0),
            by_hand=self.by_hand,
            sessions_each=self.sessions,
        )
        world = replace(PLAIN, kinds={"soak": KINDS[self.truth]}, session=self.session_deg)
        world = replace(world, run=0.4) if self.by_hand else world
        return judged(world, layout, np.random.default_rng([15, seed]))


NOTHING, SATURATES, LINEAR = KINDS
CASES = [
    *(Case(1, by_hand=False, truth=truth) for truth in KINDS),
    *(Case(0, by_hand=False, truth=truth) for truth in KINDS),
    *(Case(0, by_hand=False, truth=truth, session_deg=0.25) for truth in (NOTHING, SATURATES)),
    *(Case(0, by_hand=False, truth=truth, sessions=2) for truth in (NOTHING, SATURATES)),
    *(Case(1, by_hand=True, truth=truth) for truth in KINDS),
    *(Case(0, by_hand=True, truth=truth) for truth in (NOTHING, SATURATES)),
]


def lines(studies: int) -> Iterator[str]:
    """The table, line by line as it is made."""
    yield from columns(
        "trial", "truth", "studies", "half width", "shown %", "held %", "present angle held %",
        "half width, scatters known",
    )  # fmt: skip
    for case in CASES:
        kind = f"evening-{case.label.replace(', ', '-').replace(' ', '_')}-{KINDS[case.truth]}"
        results = list(kept(kind, range(studies), case.one))
        yield (
            f"| {case.label} | {case.truth} | {studies} | {median_half(results, 'effect')} |"
            f" {share(results, 'effect', 'shown')} | {share(results, 'effect')} |"
            f" {share(results, 'angle')} | {case.known_half_deg:.2f} |"
        )


def main() -> None:
    """Make the studies that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=300)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    TABLE.show(lines(asked.studies), seed=f"15, 0 … {asked.studies - 1}", write=asked.write)


if __name__ == "__main__":
    main()
