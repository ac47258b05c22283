"""Budgets of a group's mean, and of the difference of two groups, in which common parts cancel.

A group's scatter already holds what differs from run to run (noise, gap, skew …), so its budget has
the scatter in place of those components, and the shared components once.

In a difference µ_A − µ_B each shared input moves both means, by what their sensitivities say:
Σ (c_A − c_B)²·u² (JCGM 100, 5.2.2 with r = 1). So most of the calibration drops out, and the step
to a rate-free coefficient at equal rates. What belongs to the rig is shared only by groups of one
rig, what belongs to the calibration only by groups that one calibration was used for, the crown
only by one board; scatter and the components of the layer "series" are each group's own. So is what
the edges leave open about the friction law: each bag has its own.
"""

import math
from collections.abc import Callable, Sequence

import msgspec
import numpy as np

from rig.analysis.angle.plane import Array
from rig.analysis.angle.ramp import Ramp
from rig.analysis.budget.parts import (
    Budget,
    Component,
    Distribution,
    Layer,
    root_sum_square,
    u_of_tangent,
)
from rig.analysis.friction import RunAnalysis
from rig.analysis.groups import Group
from rig.calibration.apply import drift_rates, jacobian, u_of_rates
from rig.calibration.model import Calibration
from rig.statistics.satterthwaite import coverage_factor, welch_satterthwaite

OF_CALIBRATION = ("calibration", "level", "temperature", "filter delay")
OF_NATURE = ("friction law, rate-free",)
OF_BOARD = ("crown of the board",)


class DifferencePart(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the budget of a difference."""

    name: str
    u_value: float
    """Standard uncertainty of the input, in `unit`; of group A where the groups differ."""
    unit: str
    distribution: Distribution
    sensitivity_a: float
    sensitivity_b: float
    """Units of µs per unit, of each group's mean."""
    u_mu_static: float
    """Contribution to the difference of µs."""
    dof: float = math.inf
    layer: Layer
    cancels: bool
    """The input is one and the same for both groups."""
    share: float = 0.0
    """Of the difference's variance."""


class Difference(msgspec.Struct, frozen=True, kw_only=True):
    """µs of group A less that of group B."""

    a: str
    b: str
    difference_mu_static: float
    u_mu_static: float
    dof: float
    k: float
    """Coverage factor for 95 %."""
    expanded_mu_static: float
    components: list[DifferencePart]


def group_budget(group: Group) -> Budget:
    """All components of a group's mean angle."""
    result = group.result
    angle = result.mean_onset_angle_deg
    per_mu = 1.0 / u_of_tangent(angle, 1.0)

    def of_scatter(name: str, u_mu: float, layer: Layer, dof: float) -> Component:
        return Component(
            name=name,
            u_value=u_mu,
            unit="of µs",
            distribution="normal",
            sensitivity=per_mu,
            u_theta_deg=per_mu * u_mu,
            dof=dof,
            layer=layer,
        )

    dof = _dof_of_scatter(group)
    parts = [of_scatter("repeatability", result.u_repeat, "run", dof)]
    if result.u_series is not None:
        parts.append(of_scatter("series to series", result.u_series, "series", dof))
    for name, examples in _shared(group).items():
        first = next(part for part in examples if part is not None)
        sensitivity = _mean(group, [0.0 if p is None else p.sensitivity for p in examples])
        u_theta = _mean(group, [0.0 if p is None else p.u_theta_deg for p in examples])
        parts.append(
            msgspec.structs.replace(
                first,
                name=name,
                u_value=u_theta / abs(sensitivity) if sensitivity else first.u_value,
                sensitivity=sensitivity,
                u_theta_deg=u_theta,
                u_mu_kinetic=_mean(group, [0.0 if p is None else p.u_mu_kinetic for p in examples]),
            )
        )
    return Budget(onset_angle_deg=angle, components=parts)


def difference(a: Group, b: Group) -> Difference:
    """What µs of group A less that of group B is worth."""
    budgets = group_budget(a), group_budget(b)
    parts: list[DifferencePart] = []
    same_rig = len({_rig(run) for group in (a, b) for run in group.analyses}) == 1
    calibration = _one_calibration((a, b)) if same_rig else None
    for name in dict.fromkeys(part.name for budget in budgets for part in budget.components):
        ones = [next((p for p in budget.components if p.name == name), None) for budget in budgets]
        is_own = any(part is not None and part.layer != "common" for part in ones)
        if name == "temperature":
            is_own = False
        if name in OF_NATURE:
            shared = True
        elif name in OF_BOARD:
            shared = same_rig and a.result.board == b.result.board
        elif name in OF_CALIBRATION:
            shared = calibration is not None
        else:
            shared = same_rig
        parts += _part(budgets, ones, shared and not is_own)
    if calibration is not None:
        parts = [_of_vectors(part, a, b, calibration) for part in parts]
    u = root_sum_square(part.u_mu_static for part in parts)
    scatter = [
        (math.hypot(group.result.u_repeat, group.result.u_series or 0.0), _dof_of_scatter(group))
        for group in (a, b)
    ]
    u_rest = math.sqrt(max(u * u - sum(u_mean * u_mean for u_mean, _ in scatter), 0.0))
    dof = welch_satterthwaite([*scatter, (u_rest, math.inf)])
    k = coverage_factor(max(dof, 1.0))
    return Difference(
        a=group_name(a),
        b=group_name(b),
        difference_mu_static=a.result.mean_mu_static - b.result.mean_mu_static,
        u_mu_static=u,
        dof=dof,
        k=k,
        expanded_mu_static=k * u,
        components=[
            msgspec.structs.replace(part, share=(part.u_mu_static / u) ** 2 if u else 0.0)
            for part in parts
        ],
    )


def group_name(group: Group) -> str:
    """Bag, face, board, treatment, rate and air: enough to tell two groups apart."""
    g = group.result
    words = [g.bag, g.face, None if g.board is None else f"on {g.board}", g.treatment_stage]
    words.append(f"{g.rate_deg_s:g} °/s")
    if g.temperature_c is not None and g.relative_humidity_pct is not None:
        words.append(f"{g.temperature_c:.0f} °C {g.relative_humidity_pct:.0f} %")
    return " ".join(word for word in words if word)


def _dof_of_scatter(group: Group) -> float:
    """Several series are as many values as there are series, however many runs each has."""
    return group.dof_repeat if group.result.u_series is None else max(group.dof_series, 1.0)


def _shared(group: Group) -> dict[str, list[Component | None]]:
    """Components that the scatter of the runs does not hold, by name, run by run."""
    found: dict[str, list[Component | None]] = {}
    for k, analysis in enumerate(group.analyses):
        for part in analysis.budget.components if analysis.budget is not None else []:
            if part.layer != "run":
                row = found.setdefault(part.name, [None] * len(group.analyses))
                row[k] = part
    return found


def _mean(group: Group, values: Sequence[float]) -> float:
    return math.fsum(w * value for w, value in zip(group.weights, values, strict=True))


def _part(
    budgets: tuple[Budget, Budget], ones: list[Component | None], shared: bool
) -> list[DifferencePart]:
    """One line where the input is one for both; else a line for each group."""
    per_deg = [u_of_tangent(budget.onset_angle_deg, 1.0) for budget in budgets]
    rates = [
        0.0 if part is None else part.sensitivity * scale
        for part, scale in zip(ones, per_deg, strict=True)
    ]
    known = [part for part in ones if part is not None]

    def line(part: Component, name: str, own: list[float], u: float) -> DifferencePart:
        return DifferencePart(
            name=name,
            u_value=part.u_value,
            unit=part.unit,
            distribution=part.distribution,
            sensitivity_a=own[0],
            sensitivity_b=own[1],
            u_mu_static=u,
            dof=part.dof,
            layer=part.layer,
            cancels=shared,
        )

    if shared:
        u_value = max(part.u_value for part in known)
        return [line(known[0], known[0].name, rates, abs(rates[0] - rates[1]) * u_value)]
    lines = []
    for k, part in enumerate(ones):
        if part is not None:
            own = [rates[0], 0.0] if k == 0 else [0.0, rates[1]]
            lines.append(
                line(part, f"{part.name} of {'AB'[k]}", own, part.u_theta_deg * per_deg[k])
            )
    return lines


def _of_vectors(
    part: DifferencePart, a: Group, b: Group, calibration: Calibration
) -> DifferencePart:
    """Calibration and temperature have many inputs each: their rates are taken apart."""
    if part.name in ("calibration", "level"):
        rates = [_mean_rates(group, _of_parameters) for group in (a, b)]
        u = u_of_rates(calibration, rates[0] - rates[1])[part.name == "level"]
    elif part.name == "temperature":
        rates = [_mean_rates(group, _of_drift) for group in (a, b)]
        u = float(np.linalg.norm(rates[0] - rates[1])) * calibration.u_drift_g_per_k
    else:
        return part
    return msgspec.structs.replace(part, u_mu_static=u)


def _of_parameters(run: RunAnalysis) -> Array:
    calibration, ramp = _known(run)
    return jacobian(calibration, ramp.gravity)


def _of_drift(run: RunAnalysis) -> Array:
    calibration, ramp = _known(run)
    return drift_rates(calibration, ramp.gravity, ramp.imu_temperature_c)


def _known(run: RunAnalysis) -> tuple[Calibration, Ramp]:
    """What `_one_calibration` has seen to be there."""
    assert run.calibration is not None  # noqa: S101
    assert run.ramp is not None  # noqa: S101
    return run.calibration, run.ramp


def _mean_rates(group: Group, of: Callable[[RunAnalysis], Array]) -> Array:
    """Mean derivatives of µs over the runs of a group."""
    total = np.zeros(1)
    for weight, run in zip(group.weights, group.analyses, strict=True):
        angle = run.budget.onset_angle_deg if run.budget is not None else 0.0
        total = total + weight * u_of_tangent(angle, 1.0) * of(run)
    return total


def _rig(run: RunAnalysis) -> str:
    return run.run.header.rig


def _one_calibration(groups: Sequence[Group]) -> Calibration | None:
    """The calibration of all runs, or None if there are several, or none."""
    found = [run.calibration for group in groups for run in group.analyses]
    first = found[0]
    if first is None or any(run.ramp is None for group in groups for run in group.analyses):
        return None
    return first if all(one == first for one in found) else None
