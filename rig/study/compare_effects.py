"""Effects of treatments: change of the treated bags minus change of the controls.

The error term is the scatter of the *bags'* changes within groups, pooled over all groups of a face
on a board: a bag is one value, however many runs it has. Where groups were not measured in the same
sessions, or the humidity moved differently for them, the scatter between sessions and the climate
slope's uncertainty are added.
"""

from collections.abc import Mapping
from itertools import combinations
from math import floor, inf, sqrt

from msgspec import Struct, structs

from rig.statistics.quantiles import studentized_range, studentized_range_p, t_p, t_quantile
from rig.statistics.satterthwaite import Satterthwaite
from rig.study.climate_model import (
    JUDGED_DF,
    JUDGED_SESSION_SD_DEG,
    JUDGED_SLOPE_DEG_PER_PCT,
    ClimateModel,
)
from rig.study.compare_changes import BagChange, Place, humidity_mismatch, session_mismatch
from rig.study.rows import CONTROLS, mu_change
from rig.study.variance import RESIDUAL, Layers, pooled

LEVEL = 0.95
NEGLIGIBLE = 1e-9
OF_BAGS = "bags like these"
THIS_BAG = "this bag only"
THESE_BAGS = "these bags only"
THIS_SITTING = "these bags, these sittings only"


class Effect(Struct, frozen=True, kw_only=True):
    """The difference between two groups' changes, in degrees, with 95 % intervals."""

    face: str
    board: str
    treatment: str
    against: str
    """The group it is compared with; empty if there is none, and it is a bare change."""
    before: str
    after: str
    n_bags: int
    n_against: int
    effect_deg: float
    u_effect_deg: float
    df: float
    lower_deg: float
    upper_deg: float
    p: float
    family_size: int
    """Number of groups in the family; its intervals hold together with 95 %."""
    family_lower_deg: float
    family_upper_deg: float
    family_p: float
    effect_mu: float
    u_bags_deg: float
    u_sessions_deg: float
    """From sessions and climates that the groups do not share."""
    scope: str
    blocked: bool = False
    """The reference bag moved: nothing is claimed."""

    @property
    def found(self) -> bool:
        """The interval of this comparison alone leaves out 0 (5 % per comparison)."""
        return not self.blocked and (self.lower_deg > 0.0 or self.upper_deg < 0.0)

    @property
    def found_in_family(self) -> bool:
        """The family's interval leaves out 0 (5 % per family)."""
        return not self.blocked and (self.family_lower_deg > 0.0 or self.family_upper_deg < 0.0)


def grouped(bag_changes: list[BagChange]) -> dict[str, list[BagChange]]:
    """The changes by group, controls first."""
    groups: dict[str, list[BagChange]] = {}
    for change in sorted(bag_changes, key=lambda c: (c.group != CONTROLS, c.group)):
        groups.setdefault(change.group, []).append(change)
    return groups


def effects(
    place: Place,
    bag_changes: list[BagChange],
    stages: tuple[str, str],
    layers: Layers | None,
    model: ClimateModel | None,
    *,
    blocked: bool = False,
) -> list[Effect]:
    """All pairs of groups of one face on one board; one bare change if there is one group only.

    Args:
        place: the face and board.
        bag_changes: of all bags there.
        stages: before and after.
        layers: variances inside bags, used where no group has two bags.
        model: the climate model, for the scatter between sessions.
        blocked: the reference bag moved.
    """
    groups = grouped(bag_changes)
    pairs: list[tuple[str, str]] = list(combinations(groups, 2)) or [("", n) for n in groups]
    between, df = pooled([[c.change_deg for c in group] for group in groups.values()])
    return [
        _effect(place, other, one, groups, (between, df), stages, layers, model, blocked)
        for one, other in pairs
    ]


def _effect(
    place: Place,
    treatment: str,
    against: str,
    groups: Mapping[str, list[BagChange]],
    between: tuple[float, int],
    stages: tuple[str, str],
    layers: Layers | None,
    model: ClimateModel | None,
    blocked: bool,
) -> Effect:
    treated, controls = groups[treatment], groups.get(against, [])
    effect = _mean(treated) - (_mean(controls) if controls else 0.0)
    total = Satterthwaite()
    scope = _error_of_bags(total, treated, controls, between, layers)
    bags_variance = total.variance
    _error_of_sessions(total, treated, controls, model)
    df = max(total.df, 0.0)
    half = t_quantile((1.0 + LEVEL) / 2.0, df) * total.u
    k = max(len(groups), 2)
    family_half = studentized_range(LEVEL, k, _cut(df)) / sqrt(2.0) * total.u
    level = sum(c.before_deg + c.after_deg for c in treated) / (2 * len(treated))
    return Effect(
        face=place.face,
        board=place.board,
        treatment=treatment,
        against=against,
        before=stages[0],
        after=stages[1],
        n_bags=len(treated),
        n_against=len(controls),
        effect_deg=effect,
        u_effect_deg=total.u,
        df=df,
        lower_deg=effect - half,
        upper_deg=effect + half,
        p=t_p(effect / total.u, df) if total.u > 0 else 1.0,
        family_size=len(groups),
        family_lower_deg=effect - family_half,
        family_upper_deg=effect + family_half,
        family_p=1.0,
        effect_mu=mu_change(level, effect),
        u_bags_deg=sqrt(max(bags_variance, 0.0)),
        u_sessions_deg=sqrt(max(total.variance - bags_variance, 0.0)),
        scope=scope,
        blocked=blocked,
    )


def with_family_p(effect: Effect) -> Effect:
    """The same with the family's p, which takes longer to work out."""
    if effect.u_effect_deg <= 0.0 or effect.df <= 0.0:
        return effect
    q = sqrt(2.0) * abs(effect.effect_deg) / effect.u_effect_deg
    p = studentized_range_p(round(q, 6), max(effect.family_size, 2), _cut(effect.df))
    return structs.replace(effect, family_p=p)


def _cut(df: float) -> float:
    """Degrees of freedom cut to one decimal: on the safe side, and each is worked out only once."""
    return floor(10.0 * df) / 10.0 if 0.1 <= df < inf else df


def _mean(group: list[BagChange]) -> float:
    return sum(c.change_deg for c in group) / len(group)


def _error_of_bags(
    total: Satterthwaite,
    treated: list[BagChange],
    controls: list[BagChange],
    between: tuple[float, int],
    layers: Layers | None,
) -> str:
    """Add the scatter of bags; returns what the effect may be claimed for."""
    variance, df = between
    if df > 0:
        per_bag = 1.0 / len(treated) + (1.0 / len(controls) if controls else 0.0)
        total.add(variance * per_bag, df)
        return OF_BAGS if len(treated) > 1 and len(controls) != 1 else THIS_BAG
    # No group has two bags: only the layers inside a bag are known.
    weights = dict.fromkeys(("session", "series", RESIDUAL), 0.0)
    for group in (treated, controls):
        for change in group:
            for name, weight in change.weights.items():
                weights[name] += weight / len(group) ** 2
    if layers is None or layers.variance(RESIDUAL) is None:
        total.add(JUDGED_SESSION_SD_DEG**2, JUDGED_DF)
        return THIS_SITTING
    part = layers.combine(weights)
    total.add(part.variance, part.df)
    return THESE_BAGS if layers.variance("session") is not None else THIS_SITTING


def _error_of_sessions(
    total: Satterthwaite,
    treated: list[BagChange],
    controls: list[BagChange],
    model: ClimateModel | None,
) -> None:
    """Add what the groups do not share: sessions, and climates that moved differently."""
    mismatch = session_mismatch(treated, controls)
    if mismatch > NEGLIGIBLE:
        if model is None:
            total.add(mismatch * JUDGED_SESSION_SD_DEG**2, JUDGED_DF)
        else:
            alone = model.session_variance_alone
            total.add(mismatch * alone, model.session_df)
    if model is None or not model.slope_known:
        away = humidity_mismatch(treated, controls) * JUDGED_SLOPE_DEG_PER_PCT
        if away**2 > NEGLIGIBLE:
            total.add(away**2, JUDGED_DF)
