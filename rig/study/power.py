"""How many runs, series and bags a wanted difference needs, from the layers of variance.

The effect of a treatment is the change of the treated bags minus the change of the controls. One
bag's mean at one stage scatters by the bag-by-stage part, the series part over the series, and the
run part over all runs; what a session shares goes out of the difference. Power is that of the
two-sided t-test on the changes, from the noncentral t distribution (no simulation).
"""

from collections.abc import Callable
from functools import lru_cache
from math import sqrt

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from rig.errors import BadInputError
from rig.statistics.quantiles import t_quantile

MOST = 200
"""No design with more of anything is looked for."""


class Scatter(Struct, frozen=True, kw_only=True):
    """Standard deviations of the layers, in degrees of slide angle."""

    run_deg: float
    """One run about its series' mean."""
    series_deg: float
    """One series (mounting, hour) about the bag face's mean at that stage and session."""
    bag_stage_deg: float
    """How differently like-treated bags change, per stage: not to be shrunk by repeats."""


class Design(Struct, frozen=True, kw_only=True):
    """How much is measured at each of the two stages that are compared."""

    bags: int
    """Of each treatment."""
    controls: int
    series: int
    """Of each bag face at each stage, all sessions together."""
    runs: int
    """Of each series."""
    treatments: int = 1
    """Compared side by side; their like scatter is pooled, which sharpens the judgement."""

    @property
    def dof(self) -> int:
        """Degrees of freedom of the scatter between like-treated bags."""
        return self.treatments * (self.bags - 1) + self.controls - 1


class Needed(Struct, frozen=True, kw_only=True):
    """What would do, changing one thing at a time; None: not to be reached that way."""

    power: float
    """Of the design as it is."""
    detectable_deg: float
    """Smallest difference that the design finds with the wanted power."""
    runs: int | None
    series: int | None
    bags: int | None
    """Bags of each treatment, with as many controls (or those there are, if more)."""
    bags_at_least: int | None
    """The same, however often each bag is measured."""
    cheapest: Design | None
    """The design that takes the least time on the rig."""
    cheapest_h: float | None


def u_effect_deg(scatter: Scatter, design: Design) -> float:
    """Standard deviation of the estimated effect, in degrees."""
    change = _change_variance(scatter, design)
    return sqrt(change * (1.0 / design.bags + 1.0 / design.controls))


def _change_variance(scatter: Scatter, design: Design) -> float:
    """Variance of one bag's change between two stages."""
    series = scatter.series_deg**2 / design.series
    runs = scatter.run_deg**2 / (design.series * design.runs)
    return 2.0 * (scatter.bag_stage_deg**2 + series + runs)


def power_of(difference_deg: float, scatter: Scatter, design: Design, alpha: float = 0.05) -> float:
    """Chance to find a true difference, two-sided, at the given chance of a false alarm.

    Raises:
        BadInputError: fewer than three bags in all leave no degree of freedom.
    """
    u = u_effect_deg(scatter, design)
    if design.dof < 1:
        raise BadInputError(
            "One treated bag and one control leave nothing to judge chance by; add a bag."
        )
    if u == 0.0:
        return 1.0 if difference_deg else alpha
    return two_sided_power(difference_deg / u, design.dof, alpha)


def two_sided_power(noncentrality: float, dof: int, alpha: float) -> float:
    """Power of a two-sided t-test (noncentral t; J. Cohen, Statistical Power Analysis, 1988).

    The mean, over the distribution of the estimated standard deviation s (σ = 1), of the normal
    chance that |z + δ| exceeds t·s. Library routines for the noncentral t fail at large δ.
    """
    from scipy.special import ndtr

    s, weights = _scatter_nodes(dof)
    limit = t_quantile(1.0 - alpha / 2.0, dof) * s
    shift = abs(noncentrality)
    power = float(np.dot(weights, ndtr(shift - limit) + ndtr(-shift - limit)))
    return min(1.0, power)


@lru_cache(maxsize=1)
def _unit_nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(200)
    return nodes, weights


@lru_cache(maxsize=512)
def _scatter_nodes(dof: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Legendre nodes and weights over the density of s = sqrt(χ²/dof)."""
    from scipy.special import gammainccinv, gammaincinv, gammaln

    low = np.sqrt(2.0 * gammaincinv(dof / 2.0, 1e-15) / dof)
    high = np.sqrt(2.0 * gammainccinv(dof / 2.0, 1e-15) / dof)
    nodes, weights = _unit_nodes()
    s = low + (high - low) * (nodes + 1.0) / 2.0
    log_density = (
        np.log(2.0)
        + dof / 2.0 * np.log(dof / 2.0)
        - gammaln(dof / 2.0)
        + (dof - 1.0) * np.log(s)
        - dof * s**2 / 2.0
    )
    return s, weights * (high - low) / 2.0 * np.exp(log_density)


def needed(
    difference_deg: float,
    scatter: Scatter,
    design: Design,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    run_min: float = 1.0,
    change_min: float = 2.0,
) -> Needed:
    """What a wanted difference needs.

    Args:
        difference_deg: to be found, in degrees of slide angle.
        scatter: of the layers, as seen or as guessed.
        design: the present one; each answer changes one thing of it.
        power: wanted chance to find the difference.
        alpha: allowed chance of a false alarm, per comparison.
        run_min: time of one run.
        change_min: time to change the bag, once per series.

    Raises:
        BadInputError: a value can't be so.
    """
    _check(difference_deg, scatter, design, power, alpha)

    def enough(runs: int, series: int, bags: int, controls: int) -> bool:
        wanted = replace(design, bags=bags, controls=controls, series=series, runs=runs)
        return wanted.dof > 0 and power_of(difference_deg, scatter, wanted, alpha) >= power

    def first(test: Callable[[int], bool]) -> int | None:
        return next((n for n in range(1, MOST + 1) if test(n)), None)

    d = design
    runs = first(lambda n: enough(n, d.series, d.bags, d.controls))
    series = first(lambda n: enough(d.runs, n, d.bags, d.controls))
    bags = first(lambda n: enough(d.runs, d.series, n, max(n, d.controls)))
    at_least = first(lambda n: enough(MOST, MOST, n, max(n, d.controls)))
    cheapest, minutes = _cheapest(enough, d, run_min, change_min)
    present = 0.0
    if d.dof > 0:
        present = power_of(difference_deg, scatter, d, alpha)
    return Needed(
        power=present,
        detectable_deg=_detectable(scatter, d, power, alpha),
        runs=runs,
        series=series,
        bags=bags,
        bags_at_least=at_least,
        cheapest=cheapest,
        cheapest_h=None if cheapest is None else minutes / 60.0,
    )


def _check(
    difference_deg: float, scatter: Scatter, design: Design, power: float, alpha: float
) -> None:
    if difference_deg <= 0.0:
        raise BadInputError("The wanted difference must be more than 0°.")
    if min(scatter.run_deg, scatter.series_deg, scatter.bag_stage_deg) < 0.0:
        raise BadInputError("A standard deviation can't be less than 0°.")
    if not 0.0 < alpha < power < 1.0:
        raise BadInputError("Power and alpha must lie between 0 and 1, and alpha below the power.")
    counts = (design.bags, design.controls, design.series, design.runs, design.treatments)
    if min(counts) < 1:
        raise BadInputError("A design needs at least one bag, control, series and run.")


def _detectable(scatter: Scatter, design: Design, power: float, alpha: float) -> float:
    """By bisection; infinite for a design without degrees of freedom."""
    if design.dof < 1:
        return float("inf")
    low, high = 0.0, 1.0
    while power_of(high, scatter, design, alpha) < power and high < 1e6:
        high *= 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if power_of(middle, scatter, design, alpha) < power:
            low = middle
        else:
            high = middle
    return high


def _cheapest(
    enough: Callable[[int, int, int, int], bool],
    design: Design,
    run_min: float,
    change_min: float,
) -> tuple[Design | None, float]:
    """The design of least time among up to 30 bags, 12 series and 20 runs, and its minutes."""
    best: Design | None = None
    least = float("inf")
    for bags in range(1, 31):
        controls = max(bags, design.controls)
        faces = 2 * (design.treatments * bags + controls)  # at two stages
        for series in range(1, 13):
            for runs in range(1, 21):
                minutes = faces * series * (runs * run_min + change_min)
                if minutes >= least:
                    break
                if enough(runs, series, bags, controls):
                    best = replace(design, bags=bags, controls=controls, series=series, runs=runs)
                    least = minutes
                    break
    return best, least
