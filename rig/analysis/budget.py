"""The uncertainty budget of one run; sensitivities are differences of the solver itself."""

import math
from typing import NamedTuple

import msgspec

from rig.analysis.angle import Ramp
from rig.analysis.estimate import Case, Geometry, Solved, solve
from rig.analysis.onset import NoOnset
from rig.analysis.plane import Plane
from rig.analysis.uncertainty import (
    Budget,
    Component,
    Distribution,
    Layer,
    friction_law_component,
    root_sum_square,
)
from rig.calibration.apply import u_inclination_deg, u_temperature_deg
from rig.calibration.model import Calibration
from rig.runfile.reader import RunFile

UNSTEADY_DEG = 0.1
"""Standard uncertainty where only the part of the ramp is left in which the board speeds up."""


class Variation(NamedTuple):
    """What the solver finds with one input lower and higher by its standard uncertainty."""

    name: str
    u_value: float
    unit: str
    layer: Layer
    both: tuple[Solved | NoOnset, Solved | NoOnset]

    def change(self, found: Solved, key: str) -> float:
        """Root mean square of the changes both ways, since the solver is not straight."""
        centre = getattr(found, key)
        values = [getattr(one, key) for one in self.both if isinstance(one, Solved)]
        changes = [value - centre for value in values if value is not None and centre is not None]
        if not changes:
            return 0.0
        return root_sum_square(changes) / math.sqrt(len(changes))


def vary(
    case: Case, plane: Plane, geometry: Geometry, earliest_s: float, u_response_ms: float
) -> list[Variation]:
    """Solve again with each distance, and with the response of the beams, moved both ways."""

    def moved(key: str, by: float) -> Solved | NoOnset:
        changed = msgspec.structs.replace(geometry, **{key: getattr(geometry, key) + by})
        return solve(case, plane, changed, earliest_s)

    variations = [
        Variation(name, u_value, "mm", layer, (moved(key, -u_value), moved(key, u_value)))
        for name, key, u_value, layer in _distances(case, geometry)
    ]
    late_s = u_response_ms / 1000.0
    early, late = (
        solve(case.delayed(by_s), plane, geometry, earliest_s) for by_s in (-late_s, late_s)
    )
    return [*variations, Variation("beam response", u_response_ms, "ms", "common", (early, late))]


def u_misfit_mm(found: Solved, variations: list[Variation]) -> float:
    """Standard uncertainty of the misfit at a limit, in mm."""
    return root_sum_square(one.change(found, "misfit_mm") for one in variations)


def u_solved_mm(found: Solved, variations: list[Variation], key: str) -> float:
    """Standard uncertainty of the gap or the length that four edges gave, in mm."""
    return root_sum_square(one.change(found, key) for one in variations)


def run_budget(
    run: RunFile,
    calibration: Calibration,
    ramp: Ramp,
    found: Solved,
    variations: list[Variation],
) -> Budget:
    """All that makes one run's onset angle uncertain, but for its own repeatability."""
    angle = float(ramp.angle_deg(found.onset_s))
    rate = ramp.rate_deg_s(found.onset_s)
    mu = math.tan(math.radians(angle))
    # µk = tan θ − a/(g cos θ): an error of the angle goes into it with 1 + µk tan θ.
    kinetic_per_deg = (
        0.0 if found.mu_kinetic is None else math.radians(1.0) * (1.0 + found.mu_kinetic * mu)
    )

    def of_angle(
        name: str,
        u_value: float,
        unit: str,
        sensitivity: float,
        layer: Layer,
        distribution: Distribution = "normal",
        dof: float = math.inf,
    ) -> Component:
        u_theta = abs(sensitivity) * u_value
        return Component(
            name=name,
            u_value=u_value,
            unit=unit,
            distribution=distribution,
            sensitivity=sensitivity,
            u_theta_deg=u_theta,
            u_mu_kinetic=kinetic_per_deg * u_theta,
            dof=dof,
            layer=layer,
        )

    def of_solver(one: Variation) -> Component:
        solved = [moved for moved in one.both if isinstance(moved, Solved)]
        changes = [float(ramp.angle_deg(moved.onset_s)) - angle for moved in solved]
        u_theta = root_sum_square(changes) / math.sqrt(len(changes)) if changes else 0.0
        sign = -1.0 if changes and changes[-1] < 0.0 else 1.0
        return Component(
            name=one.name,
            u_value=one.u_value,
            unit=one.unit,
            distribution="normal",
            sensitivity=sign * u_theta / one.u_value if one.u_value else 0.0,
            u_theta_deg=u_theta,
            u_mu_kinetic=one.change(found, "mu_kinetic"),
            layer=one.layer,
        )

    components = [
        of_angle("ramp fit", ramp.u_fit_deg(found.onset_s), "deg", 1.0, "run", dof=ramp.dof),
        of_angle(
            "sample times",
            0.5e3 / run.header.settings.imu.rate_hz / math.sqrt(3.0),
            "ms",
            rate / 1000.0,
            "run",
            "rectangular",
        ),
        of_angle("filter delay", calibration.u_filter_delay_ms, "ms", rate / 1000.0, "common"),
    ]
    components += [of_solver(one) for one in variations]
    if found.half_range_s > 0.0:
        half = abs(rate) * found.half_range_s
        components.append(
            of_angle("kinetic friction", half / math.sqrt(3.0), "deg", 1.0, "series", "rectangular")
        )
    if not ramp.steady:
        components.append(of_angle("unsteady ramp", UNSTEADY_DEG, "deg", 1.0, "series"))
    sensor, level = u_inclination_deg(calibration, ramp.gravity)
    drift = u_temperature_deg(calibration, ramp.gravity, ramp.imu_temperature_c)
    components += [
        of_angle("calibration", sensor, "deg", 1.0, "common"),
        of_angle("level", level, "deg", 1.0, "common"),
        of_angle("temperature", drift, "deg", 1.0, "series"),
        friction_law_component(abs(rate)),
    ]
    return Budget(onset_angle_deg=angle, components=components)


def _distances(case: Case, geometry: Geometry) -> list[tuple[str, str, float, Layer]]:
    """The distances that a case rests on: name, key, standard uncertainty, layer."""
    gap: tuple[str, str, float, Layer] = ("gap", "gap_mm", geometry.u_gap_mm, "run")
    # The fill of one bag slumps alike each time.
    slump: tuple[str, str, float, Layer] = ("slump", "slump_mm", geometry.u_slump_mm, "series")
    length: tuple[str, str, float, Layer] = (
        "length and skew",
        "length_mm",
        geometry.u_length_mm,
        "run",
    )
    spacing: tuple[str, str, float, Layer] = (
        "beam spacing",
        "spacing_mm",
        geometry.u_spacing_mm,
        "common",
    )
    pair: tuple[str, str, float, Layer] = (
        "shape of the edges",
        "pair_error_mm",
        geometry.u_spacing_mm,
        "run",
    )
    overhang: tuple[str, str, float, Layer] = (
        "overhang of slumped fill",
        "overhang_mm",
        geometry.u_overhang_mm,
        "run",
    )
    return {
        "two": [gap, slump, length],
        "four": [gap, slump, spacing, pair],
        "second": [overhang, spacing],
        "leading": [gap, slump, spacing],
        "break_only": [gap, slump],
        "clear_only": [gap, length],
    }[case.kind]
