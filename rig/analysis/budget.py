"""The uncertainty budget of one run; sensitivities are differences of the solver itself."""

import math

import msgspec

from rig.analysis.angle import Ramp
from rig.analysis.estimate import Case, Geometry, Solved, solve
from rig.analysis.onset import NoOnset
from rig.analysis.plane import Plane
from rig.analysis.uncertainty import Budget, Component, Distribution, Layer, friction_law_component
from rig.calibration.apply import u_inclination_deg, u_temperature_deg
from rig.calibration.model import Calibration
from rig.runfile.reader import RunFile

UNSTEADY_DEG = 0.1
"""Standard uncertainty where only the part of the ramp is left in which the board speeds up."""


def run_budget(
    run: RunFile,
    calibration: Calibration,
    ramp: Ramp,
    case: Case,
    plane: Plane,
    geometry: Geometry,
    found: Solved,
    earliest_s: float,
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

    def of_solver(
        name: str,
        u_value: float,
        unit: str,
        layer: Layer,
        low: Solved | NoOnset,
        high: Solved | NoOnset,
    ) -> Component:
        """The change that one standard uncertainty makes, both ways: the solver is not straight."""
        changes, kinetic = [], []
        for moved in (low, high):
            if isinstance(moved, NoOnset):
                continue
            changes.append(float(ramp.angle_deg(moved.onset_s)) - angle)
            if moved.mu_kinetic is not None and found.mu_kinetic is not None:
                kinetic.append(moved.mu_kinetic - found.mu_kinetic)
        u_theta, u_kinetic = _rms(changes), _rms(kinetic)
        sign = -1.0 if changes and changes[-1] < 0.0 else 1.0
        return Component(
            name=name,
            u_value=u_value,
            unit=unit,
            distribution="normal",
            sensitivity=sign * u_theta / u_value if u_value else 0.0,
            u_theta_deg=u_theta,
            u_mu_kinetic=u_kinetic,
            layer=layer,
        )

    def moved(key: str, by: float) -> Solved | NoOnset:
        changed = msgspec.structs.replace(geometry, **{key: getattr(geometry, key) + by})
        return solve(case, plane, changed, earliest_s)

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
    for name, key, u_value, layer in _distances(case, geometry):
        components.append(
            of_solver(name, u_value, "mm", layer, moved(key, -u_value), moved(key, u_value))
        )
    u_response = run.header.settings.beam.u_response_ms
    components.append(
        of_solver(
            "beam response",
            u_response,
            "ms",
            "common",
            solve(case.delayed(-u_response / 1000.0), plane, geometry, earliest_s),
            solve(case.delayed(u_response / 1000.0), plane, geometry, earliest_s),
        )
    )
    if found.half_range_s > 0.0:
        half = abs(rate) * found.half_range_s
        components.append(
            of_angle("kinetic friction", half / math.sqrt(3.0), "deg", 1.0, "run", "rectangular")
        )
    if not ramp.steady:
        components.append(of_angle("unsteady ramp", UNSTEADY_DEG, "deg", 1.0, "run"))
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
    slump: tuple[str, str, float, Layer] = ("slump", "slump_mm", geometry.u_slump_mm, "run")
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
    return {
        "two": [gap, slump, length],
        "four": [gap, slump, spacing, pair],
        "second": [gap, slump, spacing],
        "leading": [gap, slump, spacing],
        "break_only": [gap, slump],
        "clear_only": [gap, length],
    }[case.kind]


def _rms(values: list[float]) -> float:
    return math.sqrt(math.fsum(v * v for v in values) / len(values)) if values else 0.0
