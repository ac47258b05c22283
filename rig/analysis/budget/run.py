"""The uncertainty budget of one run, from the posterior of its onset and from its ramp."""

import math

from rig.analysis.angle.ramp import Ramp
from rig.analysis.budget.parts import (
    Budget,
    Component,
    Distribution,
    Layer,
    law_floor_deg,
    rate_free_component,
)
from rig.analysis.onset.estimate import Geometry, Solved
from rig.analysis.onset.fit import U_EDGE_MM
from rig.calibration.apply import u_inclination_deg, u_temperature_deg
from rig.calibration.model import Calibration
from rig.runfile.reader import RunFile

UNSTEADY_DEG = 0.1
"""Standard uncertainty where only the part of the ramp is left in which the board speeds up."""

CROWN_DEG = 0.1
"""Slope of a board that is crowned by 2 mm, 170 mm off its middle: the level may stand elsewhere
than the bag lies. Judged."""

LAW = "friction law"


def run_budget(
    run: RunFile, calibration: Calibration, ramp: Ramp, solved: Solved, geometry: Geometry
) -> Budget:
    """All that makes one run's onset angle uncertain, but for its own repeatability."""
    found = solved.found
    angle = float(ramp.angle_deg(found.onset_s))
    rate = abs(ramp.rate_deg_s(found.onset_s))
    mu = math.tan(math.radians(angle))
    knows_kinetic = solved.mu_kinetic is not None
    # µk = tan θ − a/(g cos θ): an error of the angle goes into it with 1 + µk tan θ.
    kinetic_per_deg = math.radians(1.0) * (1.0 + found.mu_kinetic * mu) if knows_kinetic else 0.0

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

    def of_onset(
        name: str, u_value: float, unit: str, u_theta_deg: float, u_kinetic: float, layer: Layer
    ) -> Component:
        return Component(
            name=name,
            u_value=u_value,
            unit=unit,
            distribution="normal",
            sensitivity=u_theta_deg / u_value if u_value else 0.0,
            u_theta_deg=abs(u_theta_deg),
            u_mu_kinetic=u_kinetic if knows_kinetic else 0.0,
            layer=layer,
        )

    inputs: dict[str, tuple[float, str, Layer]] = {
        "gap": (geometry.u_gap_mm, "mm", "run"),
        # The fill of one bag slumps alike each time.
        "slump": (geometry.u_slump_mm, "mm", "series"),
        "length and skew": (geometry.u_length_mm, "mm", "run"),
        "beam spacing": (geometry.u_spacing_mm, "mm", "common"),
        "shape of the edges": (U_EDGE_MM, "mm", "run"),
        "beam response": (run.header.settings.beam.u_response_ms, "ms", "common"),
        "kinetic friction": (1.0, "of the prior", "series"),
    }
    law_deg = math.hypot(rate * found.law_s, law_floor_deg(rate))
    half_period_ms = 0.5e3 / run.header.settings.imu.rate_hz
    components = [
        of_angle("ramp fit", ramp.u_fit_deg(found.onset_s), "deg", 1.0, "run", dof=ramp.dof),
        of_angle(
            "sample times",
            half_period_ms / math.sqrt(3.0),
            "ms",
            rate / 1000.0,
            "run",
            "rectangular",
        ),
        of_angle("filter delay", calibration.u_filter_delay_ms, "ms", rate / 1000.0, "common"),
        *(
            of_onset(one.name, u, unit, rate * one.time_s, one.mu_kinetic, layer)
            for one in found.sources
            for u, unit, layer in [inputs[one.name]]
            if one.time_s != 0.0
        ),
        # Each bag has a law of its own, the same at each of its slides.
        of_onset(LAW, law_deg, "deg", law_deg, found.law_mu_kinetic, "series"),
    ]
    if not ramp.steady:
        components.append(of_angle("unsteady ramp", UNSTEADY_DEG, "deg", 1.0, "series"))
    sensor, level = u_inclination_deg(calibration, ramp.gravity)
    drift = u_temperature_deg(calibration, ramp.gravity, ramp.imu_temperature_c)
    components += [
        of_angle("calibration", sensor, "deg", 1.0, "common"),
        of_angle("level", level, "deg", 1.0, "common"),
        of_angle(
            "crown of the board", CROWN_DEG / math.sqrt(3.0), "deg", 1.0, "common", "rectangular"
        ),
        of_angle("temperature", drift, "deg", 1.0, "series"),
        rate_free_component(rate),
    ]
    return Budget(onset_angle_deg=angle, components=components)
