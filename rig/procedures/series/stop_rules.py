"""Stop rules of a series, based on the figures of the runs so far."""

from collections.abc import Callable, Sequence
from math import sqrt
from statistics import mean, stdev
from typing import NamedTuple

from rig.analysis.groups import trend_p
from rig.analysis.row import RunResult
from rig.statistics.quantiles import t_quantile

MIN_RUNS = 5
"""Least number of runs for an interval to be trusted."""
TREND_FROM = 10
TREND_EVERY = 5
TREND_P = 0.001
"""Strict, because a rule at 5 % applied repeatedly would eventually find a trend in anything."""


class RunFigures(NamedTuple):
    """Figures of a run for the rules."""

    valid: bool
    outcome: str | None
    slide_number: int | None
    onset_angle_deg: float | None
    mu_static: float | None


StopRule = Callable[[Sequence[RunFigures]], str | None]
"""Returns the reason to end the series, or None."""


def figures_of(result: RunResult | None) -> RunFigures:
    """Figures of an analysed run; empty if it could not be analysed."""
    if result is None:
        return RunFigures(False, None, None, None, None)
    return RunFigures(
        result.valid,
        result.outcome,
        result.slide_number,
        result.onset_angle_deg,
        result.mu_static,
    )


def narrow_enough(half_width_deg: float) -> StopRule:
    """End when the 95 % interval of the mean slide angle is ± `half_width_deg` or narrower.

    Student's t over the valid runs, five or more. Since it is evaluated after every run, the true
    confidence is a little lower than stated.
    """

    def rule(runs: Sequence[RunFigures]) -> str | None:
        angles = [r.onset_angle_deg for r in runs if r.valid and r.onset_angle_deg is not None]
        if len(angles) < MIN_RUNS:
            return None
        half = t_quantile(0.975, len(angles) - 1) * stdev(angles) / sqrt(len(angles))
        if half > half_width_deg:
            return None
        return (
            f"The mean slide angle, {mean(angles):.2f}°, is known to ±{half:.2f}° (95 %) after"
            f" {len(angles)} runs; ±{half_width_deg:g}° was asked for."
        )

    return rule


def bad_in_a_row(limit: int) -> StopRule:
    """End when the last `limit` runs gave no valid result."""

    def rule(runs: Sequence[RunFigures]) -> str | None:
        if len(runs) < limit or any(run.valid for run in runs[-limit:]):
            return None
        return (
            f"The last {limit} runs gave no valid result; look at the bag, the beam and the flags."
        )

    return rule


def trend_found(p: float = TREND_P) -> StopRule:
    """End when the coefficient drifts with the slide number; evaluated every fifth run."""

    def rule(runs: Sequence[RunFigures]) -> str | None:
        points = [
            (float(run.slide_number), run.mu_static)
            for run in runs
            if run.valid and run.slide_number is not None and run.mu_static is not None
        ]
        if len(points) < TREND_FROM or len(points) % TREND_EVERY:
            return None
        found = trend_p([points])
        if found is None or found >= p:
            return None
        return (
            f"The coefficient drifts with the slides (p = {found:.1g} after {len(points)} runs):"
            " the surface wears or is not conditioned."
        )

    return rule
