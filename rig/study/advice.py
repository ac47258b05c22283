"""What to measure next: the run, series, session or bag that narrows an interval most per minute.

The variance of an effect is split into what lies between bags and the layers inside them, and each
possible purchase is priced by the width that would be left. Stages before the treatment are over:
more runs, series and sessions can only be had at the later stage.
"""

from collections.abc import Sequence
from math import sqrt

from msgspec import Struct

from rig.statistics.quantiles import t_quantile
from rig.study.compare_changes import BagChange
from rig.study.compare_effects import LEVEL, Effect
from rig.study.rows import CONTROLS
from rig.study.variance import RESIDUAL, Layers

RUN_MIN, SERIES_MIN, SESSION_MIN, TREATMENT_MIN = 1.5, 4.0, 45.0, 60.0
"""Judged costs: a raise and its placing; changing a bag; setting up and waiting; a treatment."""


class Option(Struct, frozen=True, kw_only=True):
    """Something that could be measured next."""

    what: str
    minutes: float
    half_width_deg: float
    """Of the effect's own 95 % interval afterwards, if the scatter stays what it is."""
    now_deg: float

    @property
    def gain_per_hour_deg(self) -> float:
        """By how much the interval's half width falls for an hour's work."""
        return (self.now_deg - self.half_width_deg) / self.minutes * 60.0


def options(
    effect: Effect,
    treated: Sequence[BagChange],
    controls: Sequence[BagChange],
    layers: Layers | None,
) -> list[Option]:
    """Everything that could narrow an effect's interval, best first.

    Args:
        effect: the effect in question.
        treated: changes of its bags.
        controls: changes of the bags it is compared with.
        layers: variances inside bags.
    """
    both = [*treated, *controls]
    n_t, n_c = len(treated), len(controls)
    per_bag = 1.0 / n_t + (1.0 / n_c if n_c else 0.0)
    between = effect.u_bags_deg**2 / per_bag
    sessions = effect.u_sessions_deg**2
    series = max(round(sum(c.n_series for c in both) / (2 * len(both))), 1)
    runs = max(round(sum(c.n_runs for c in both) / max(sum(c.n_series for c in both), 1)), 1)
    per_session = max(series / max(sum(c.n_sessions for c in both) / (2 * len(both)), 1.0), 1.0)
    now = effect.upper_deg - effect.effect_deg

    def half(variance: float, added_bags: int = 0) -> float:
        df = max(effect.df + added_bags, 1.0)
        return t_quantile((1.0 + LEVEL) / 2.0, df) * sqrt(max(variance, 0.0))

    def inside(names: tuple[str, ...], share: float) -> float:
        """Variance that goes when these layers' later half is thinned by a share."""
        weights = {n: sum(c.weights[n] for c in both) / len(both) for n in names}
        known = 0.0 if layers is None else layers.combine(weights).variance
        return min(known, between) * 0.5 * share

    def repeat(names: tuple[str, ...], share: float, less_sessions: float = 0.0) -> float:
        return (between - inside(names, share)) * per_bag + sessions * (1.0 - less_sessions)

    n = len(both)
    measure = series * (SERIES_MIN + runs * RUN_MIN)
    fine, middle, all_layers = (RESIDUAL,), ("series", RESIDUAL), ("session", "series", RESIDUAL)
    found = [
        ("one more run in every series", n * series * RUN_MIN, half(repeat(fine, 1 / (runs + 1)))),
        (
            "one more series of every bag",
            n * (SERIES_MIN + runs * RUN_MIN),
            half(repeat(middle, 1 / (series + 1))),
        ),
        (
            "one more session with all these bags, at this stage",
            SESSION_MIN + n * per_session * (SERIES_MIN + runs * RUN_MIN),
            half(repeat(all_layers, 0.5, 0.25)),
        ),
        (
            f"one more bag for {effect.treatment} (before, treatment, after)",
            2 * measure + TREATMENT_MIN,
            half(between * (1 / (n_t + 1) + (1 / n_c if n_c else 0.0)) + sessions, 1),
        ),
    ]
    if n_c:
        name = "control bag" if effect.against == CONTROLS else f"bag for {effect.against}"
        found.append(
            (
                f"one more {name} (before and after)",
                2 * measure + (0.0 if effect.against == CONTROLS else TREATMENT_MIN),
                half(between * (1 / n_t + 1 / (n_c + 1)) + sessions, 1),
            )
        )
    listed = [
        Option(what=w, minutes=m, half_width_deg=min(h, now), now_deg=now) for w, m, h in found
    ]
    return sorted(listed, key=lambda option: -option.gain_per_hour_deg)
