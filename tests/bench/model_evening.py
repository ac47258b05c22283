"""An evening's trial: four bags before and after, three slides each; what it shows.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_evening --studies 300 --write

The scatter is what the model believes most (slides 0.25°, series 0.2°, sessions 0.4°, bags 1°; by
hand 0.4° between slides), but in the lines of calm sessions (0.25°). The air's humidity stays
within 48 to 52 %, and the bags respond by an effect of −1.9° with an own scatter of 0.35° for each
1.5°. *If linear*: what one would call shown who took the effect for linear, without the chance that
the recipe does nothing. *Scatters known*: one who knows all scatters and has the difference of
means alone, 1.96 of its standard deviations, and what he would call shown by the answer's rule.
"""

import argparse
from collections.abc import Iterator
from dataclasses import replace
from math import log
from typing import NamedTuple

import numpy as np
from scipy.special import ndtri
from scipy.stats import norm

from rig.study.answer.effects import SHOWN
from rig.study.model.priors import value_at
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

    def known_shown(self) -> float:
        """Part of the studies whose effect is shown to one who knows all scatters."""
        sd = self.known_half_deg / 1.96
        found = (0.0 if self.truth == NOTHING else EFFECT) + sd * ndtri(_middles(1000))
        doses, ranges = np.meshgrid(*(value_at(n, ndtri(_middles(60))) for n in ("dose", "range")))
        linear, taken = value_at("effect", ndtri(_middles(1000))), ranges * np.expm1(-doses)

        def evidence(effects: np.ndarray) -> np.ndarray:
            return np.asarray(norm.pdf(found[:, None], effects.ravel(), sd).mean(axis=1))

        below, above = evidence(linear[linear < 0.0]) / 2.0, evidence(linear[linear > 0.0]) / 2.0
        below += evidence(taken)
        total = below + above + evidence(np.zeros(1))
        return float(np.mean(np.maximum(below, above) / total >= SHOWN))

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


def _middles(n: int) -> np.ndarray:
    """Of n equal parts of 0 to 1."""
    return (np.arange(n) + 0.5) / n


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
        "trial", "truth", "studies", "half width", "shown %", "if linear %", "held %",
        "present angle held %", "scatters known: half width", "shown %",
    )  # fmt: skip
    for case in CASES:
        kind = f"evening-{case.label.replace(', ', '-').replace(' ', '_')}-{KINDS[case.truth]}"
        results = list(kept(kind, range(studies), case.one))
        shown, if_linear, held = (
            share(results, "effect", what) for what in ("shown", "shown if linear", "held")
        )
        yield (
            f"| {case.label} | {case.truth} | {studies} | {median_half(results, 'effect')} |"
            f" {shown} | {if_linear} | {held} | {share(results, 'angle')} |"
            f" {case.known_half_deg:.2f} | {100.0 * case.known_shown():.0f} |"
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
