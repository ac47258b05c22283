"""Bags, treatments and climates of the demonstration: a club in a boat shed, all invented."""

from math import atan, degrees

import msgspec

from rig.twin.draws import draw_scenario
from rig.twin.fabric import Face, coefficients, wetting_moisture
from rig.twin.scenario import AirTruth, Scenario
from rig.twin.streams import stream

FACES: dict[tuple[str, str], Face] = {
    ("Heron 1", "slick"): Face(mu_static_dry=0.31, mu_kinetic_dry=0.27, humidity_gain=0.22),
    ("Heron 1", "grip"): Face(
        mu_static_dry=0.52, mu_kinetic_dry=0.45, humidity_gain=0.30, settle_gain=0.09
    ),
    ("Dunlin 1", "slick"): Face(
        mu_static_dry=0.36, mu_kinetic_dry=0.335, humidity_gain=0.12, moisture_mid=0.06
    ),
    ("Dunlin 1", "grip"): Face(mu_static_dry=0.47, mu_kinetic_dry=0.42, humidity_gain=0.18),
}


EFFECTS: dict[tuple[str, str], float] = {
    ("Heron 1", "slick"): 0.93,
    ("Heron 1", "grip"): 0.95,
    ("Heron 2", "slick"): 0.92,
    ("Heron 2", "grip"): 0.96,
    ("Dunlin 1", "slick"): 1.00,
    ("Dunlin 1", "grip"): 0.98,
    ("Dunlin 2", "slick"): 0.99,
    ("Dunlin 2", "grip"): 0.98,
}
"""What one more treatment makes of a face's coefficients; other faces are never treated."""

STAGE = "after "
"""A stage after treatments is named `after 1`, `after 2` and so on."""


def scenario_of(
    seed: int,
    *,
    bag: str | None,
    face: str | None,
    stage: str | None,
    climate: str | None = None,
    temperature_c: float | None = None,
    relative_humidity_pct: float | None = None,
    session: str,
    series: str,
    slides_before: int,
) -> Scenario:
    """The rig of this seed with this face on it, treated as often as the stage says.

    Without figures the air is drawn from the session's name.
    """
    there = face_named(seed, bag, face)
    if there is not None and stage is not None and stage.startswith(STAGE):
        times = int(stage.removeprefix(STAGE))
        factor = EFFECTS.get((bag or "", face or "slick"), 1.0) ** times
        there = msgspec.structs.replace(
            there,
            mu_static_dry=factor * there.mu_static_dry,
            mu_kinetic_dry=factor * there.mu_kinetic_dry,
        )
    return draw_scenario(
        seed,
        face=there,
        air=room(seed, climate, temperature_c, relative_humidity_pct),
        session=session,
        series=series,
        slides_before=slides_before,
    )


def room(
    seed: int, climate: str | None, temperature_c: float | None, relative_humidity_pct: float | None
) -> AirTruth | None:
    """A room that was brought to an air, nearly; None where nothing was aimed at.

    It lies off by up to 0.7 K and 1.5 %RH and drifts slowly; the sensor has errors of its own.
    """
    if temperature_c is None or relative_humidity_pct is None:
        return None
    random = stream(seed, "room", climate or "")
    off = random.uniform(-1.0, 1.0, 5)
    return AirTruth(
        temperature_c=temperature_c + 0.7 * float(off[0]),
        relative_humidity_pct=min(max(relative_humidity_pct + 1.5 * float(off[1]), 2.0), 97.0),
        pressure_hpa=1010.0 + 7.0 * float(off[2]),
        temperature_drift_k_h=0.4 * float(off[3]),
        humidity_drift_pct_h=1.0 * float(off[4]),
        sensor_temperature_error_k=0.2,
        sensor_humidity_error_pct=1.2,
    )


def true_angle_deg(
    seed: int, *, bag: str, face: str, stage: str, humidity_pct: float, slides_before: int = 8
) -> float:
    """The slide angle of a bag in balance with air of this humidity, all scatter left out."""
    there = scenario_of(
        seed,
        bag=bag,
        face=face,
        stage=stage,
        session="",
        series="",
        slides_before=slides_before,
    )
    mu_static, _ = coefficients(
        there.face,
        moisture=wetting_moisture(humidity_pct),
        dwell_s=10.0,
        slides_before=slides_before,
        scatter=0.0,
        pressure_pa=there.bag.pressure_pa,
    )
    return degrees(atan(mu_static))


def face_named(seed: int, bag: str | None, face: str | None) -> Face | None:
    """The face of a bag by its names.

    A name that nobody invented yet gives a face drawn from the seed and the name, the same one
    each time; without a bag there is None.
    """
    if bag is None:
        return None
    known = FACES.get((bag, face or "slick"))
    if known is not None:
        return known
    random = stream(seed, "bag", bag, face or "slick")
    mu_static = float(random.uniform(0.28, 0.42) if face == "slick" else random.uniform(0.4, 0.58))
    return Face(
        mu_static_dry=mu_static,
        mu_kinetic_dry=mu_static - float(random.uniform(0.015, 0.08)),
        humidity_gain=float(random.uniform(0.08, 0.3)),
    )
