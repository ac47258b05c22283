"""Questions that are answered from the draws of one posterior.

Every question gives an array with a value for each draw, in the same order, so that differences and
chances of anything together are right: `draws.angle(a, …) - draws.angle(b, …)`.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from rig.study.model.posterior import LINEAR, NULL, SATURATING, Air, F, Posterior, Quality, Scale

__all__ = ["Air", "Draws", "Interval", "Posterior", "Quality", "Scale", "interval"]

MOST_STEPS = 60
"""Applications that a forecast looks ahead; a target that needs more is never reached."""


class Interval(NamedTuple):
    """Median and the 2.5 and 97.5 % quantiles; infinite where that many draws are."""

    median: float
    lower: float
    upper: float


def interval(draws: F) -> Interval:
    """The 95 % interval of a question's draws."""
    lower, median, upper = np.quantile(draws, [0.025, 0.5, 0.975], method="inverted_cdf")
    return Interval(float(median), float(lower), float(upper))


class Draws(Posterior):
    """A posterior that can be asked; angles are means over sittings and mountings, in degrees."""

    def angle(self, bag: str, face: str, board: str | None = None, air: Air | None = None) -> F:
        """Slide angle of a bag as it is now.

        Args:
            bag: also one without slides: then a new bag of its model.
            face: of the bag.
            board: the study's most used one if None; one never seen adds the scatter of boards.
            air: the study's mean air if None.
        """
        response = next(self.responses(bag, face, self.state(bag, face)))
        return self.level(bag, face, board, air) + response

    def path(
        self,
        bag: str,
        face: str,
        recipe: str,
        most: int,
        board: str | None = None,
        air: Air | None = None,
    ) -> Iterator[F]:
        """Slide angle now, and right after 1 … `most` further applications of a recipe."""
        level, state = self.level(bag, face, board, air), self.state(bag, face)
        return (level + one for one in self.responses(bag, face, state, (recipe,) * most))

    def after(
        self,
        bag: str,
        face: str,
        recipe: str,
        applications: int,
        board: str | None = None,
        air: Air | None = None,
    ) -> F:
        """Slide angle right after further applications of a recipe."""
        *_, last = self.path(bag, face, recipe, applications, board, air)
        return last

    def after_play(
        self,
        bag: str,
        face: str,
        throws: float,
        board: str | None = None,
        air: Air | None = None,
    ) -> F:
        """Slide angle after further throws."""
        state = self.state(bag, face)
        played = state._replace(throws=state.throws + throws, since=state.since + throws)
        return self.level(bag, face, board, air) + next(self.responses(bag, face, played))

    def new_bag(self, model: str, face: str, board: str | None = None, air: Air | None = None) -> F:
        """Slide angle of a bag to come of a known model, before anything was done to it."""
        return self.level("", face, board, air, model)

    def effect(self, recipe: str, model: str, face: str) -> F:
        """Change by a first application on a bag of this model, in equal air and wear.

        The mean over bags; draws in which the recipe does nothing are exactly 0.
        """
        kind, dose = self.kind(recipe), self.dose(recipe)
        each = self.term("effect", recipe) + self.term("effect_face", recipe, model, face)
        taken = self.range_of(model, face) * -np.expm1(-dose)
        lasting = np.where(kind == LINEAR, each, np.where(kind == SATURATING, -taken, 0.0))
        return lasting + np.where(kind == NULL, 0.0, self.term("residue", recipe))

    def steps_to(
        self,
        bag: str,
        face: str,
        recipe: str,
        target_deg: float,
        board: str | None = None,
        air: Air | None = None,
    ) -> F:
        """Further applications until the angle has come to a target; infinite where it never does.

        A target above the present median is come to from below. 0 in draws that are past it now.
        """
        steps = np.full(self.n, np.inf)
        is_above = np.median(self.angle(bag, face, board, air)) > target_deg
        for k, angle in enumerate(self.path(bag, face, recipe, MOST_STEPS, board, air)):
            is_there = angle <= target_deg if is_above else angle >= target_deg
            steps[is_there & np.isinf(steps)] = k
        return steps

    def throws_to(
        self,
        bag: str,
        face: str,
        target_deg: float,
        board: str | None = None,
        air: Air | None = None,
    ) -> F:
        """Further throws until wear alone has lowered the angle to a target; infinite if never."""
        rested = self.state(bag, face)._replace(since=np.inf)
        level = self.level(bag, face, board, air)
        over = level + next(self.responses(bag, face, rested)) - target_deg
        worn_out = rested._replace(throws=np.inf)
        bottom = level + next(self.responses(bag, face, worn_out)) - target_deg
        left = over - bottom
        with np.errstate(divide="ignore", invalid="ignore"):
            throws = np.log(left / -bottom) / self.values["throw_dose"]
        throws = np.where((bottom < 0.0) & (left > 0.0), throws, np.inf)
        return np.where(over <= 0.0, 0.0, throws)

    @property
    def by_hand(self) -> bool:
        """Whether angles are as a reader shows them, for want of a rig."""
        return self.about.instrument.startswith("reader ")

    @property
    def run_scatter(self) -> F:
        """Standard deviation of one slide in degrees, by whoever measures."""
        return self.scale("reader_run" if self.by_hand else "run")

    def scale(self, name: Scale) -> F:
        """Standard deviation of a layer in degrees; of a response for TYPICAL_EFFECT_DEG."""
        return self.values[name]

    def instrument_offset(self, name: str) -> F:
        """What `rig NAME` or `reader NAME` shows above `about.instrument`."""
        if name == self.about.instrument:
            return np.zeros(self.n)
        if ("rigs", name) in self.about.columns:
            # Others' rigs scatter about a mean of their own.
            usual = ("rigs", self.about.instrument)
            return self.term("rigs", name) - (
                self.term(*usual) if usual in self.about.columns else 0.0
            )
        return self.term("reader" if name.startswith("reader ") else "rig", name)

    def operator_offset(self, name: str) -> F:
        """What the rig shows with this operator above what it shows with `about.operator`."""
        usual = ("operator", self.about.operator)
        against = self.term(*usual) if usual in self.about.columns else 0.0
        return self.term("operator", name) - against

    def kinds(self, recipe: str) -> tuple[float, float, float]:
        """Chances that a recipe does nothing, adds alike each time, saturates."""
        kind = self.kind(recipe)
        return (
            float(np.mean(kind == NULL)),
            float(np.mean(kind == LINEAR)),
            float(np.mean(kind == SATURATING)),
        )
