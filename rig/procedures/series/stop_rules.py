"""Stop rules of a series, based on the figures of the runs so far."""

from collections.abc import Callable, Sequence
from math import sqrt
from statistics import mean, variance
from typing import NamedTuple

import msgspec

from rig.analysis.groups import trend_p
from rig.analysis.row import RunResult
from rig.statistics.quantiles import t_quantile

MIN_RUNS = 5
"""Least number of runs for an interval to be trusted where no other slides are known."""
LEAST_RUNS, MOST_RUNS = 3, 12
"""Of a series that may end when its mean is known well enough; equal for treated and control."""
TREND_FROM = 10
TREND_EVERY = 5
TREND_P = 0.001
"""Strict, because a rule at 5 % applied repeatedly would eventually find a trend in anything."""


class SlideScatter(msgspec.Struct, frozen=True, kw_only=True):
    """How far slides within a series scatter, by what was measured before."""

    sd_deg: float
    freedom: float
    """Degrees of freedom that this counts for."""


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


def narrow_enough(
    half_width_deg: float, scatter: SlideScatter | None = None, least: int = MIN_RUNS
) -> StopRule:
    """End when the 95 % interval of the mean slide angle is ± `half_width_deg` or narrower.

    Student's t over the valid runs, by the scatter of slides alone: that of these runs pooled with
    what was known of it before, so that a series does not end because its slides agree by chance.
    How much an angle has changed plays no part. Since the rule is evaluated after every run, the
    true confidence is a little lower than stated.

    Args:
        half_width_deg: that is asked for.
        scatter: known before the series; nothing if None.
        least: valid runs to make in any case, two or more.
    """
    known = scatter or SlideScatter(sd_deg=0.0, freedom=0.0)

    def rule(runs: Sequence[RunFigures]) -> str | None:
        angles = [r.onset_angle_deg for r in runs if r.valid and r.onset_angle_deg is not None]
        n = len(angles)
        if n < least:
            return None
        freedom = known.freedom + n - 1
        squares = known.freedom * known.sd_deg**2 + (n - 1) * variance(angles)
        half = t_quantile(0.975, freedom) * sqrt(squares / freedom / n)
        if half > half_width_deg:
            return None
        return (
            f"The mean slide angle, {mean(angles):.2f}°, is known to ±{half:.2f}° (95 %, scatter of"
            f" slides alone) after {n} runs; ±{half_width_deg:g}° was asked for."
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
