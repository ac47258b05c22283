"""Invented bags and climates for the twin: a club that does not exist, in a boat shed.

Every name and number here is made up. A bag or face that is not listed gets a face of its own,
drawn from its name, so that the same name is the same bag every time.
"""

from rig.twin.fabric import Face
from rig.twin.scenario import AirTruth
from rig.twin.streams import stream

FACES: dict[tuple[str, str], Face] = {
    ("Heron 1", "slick"): Face(
        mu_static_dry=0.31, mu_kinetic_dry=0.27, humidity_gain=0.42, settle_gain=0.03
    ),
    ("Heron 1", "grip"): Face(
        mu_static_dry=0.52, mu_kinetic_dry=0.45, humidity_gain=0.20, settle_gain=0.05
    ),
    ("Dunlin 1", "slick"): Face(
        mu_static_dry=0.37, mu_kinetic_dry=0.345, humidity_gain=0.25, settle_gain=0.02
    ),
}

CLIMATES: dict[str, AirTruth] = {
    "cold dry": AirTruth(
        temperature_c=12.0,
        relative_humidity_pct=32.0,
        pressure_hpa=1019.0,
        temperature_drift_k_h=0.3,
        sensor_temperature_error_k=0.2,
        sensor_humidity_error_pct=1.1,
    ),
    "hot humid": AirTruth(
        temperature_c=31.0,
        relative_humidity_pct=74.0,
        pressure_hpa=1007.0,
        humidity_drift_pct_h=-1.0,
        board_offset_k=-0.5,
        sensor_temperature_error_k=0.2,
        sensor_humidity_error_pct=1.1,
    ),
}


def face_named(seed: int, bag: str | None, face: str | None) -> Face:
    """The face of this name: one of the invented ones, or one drawn from the name."""
    known = FACES.get((bag or "", face or ""))
    if known is not None:
        return known
    random = stream(seed, "face", bag or "", face or "")
    mu_static = float(random.uniform(0.25, 0.6))
    return Face(
        mu_static_dry=mu_static,
        mu_kinetic_dry=mu_static - float(random.uniform(0.01, 0.1)),
        humidity_gain=float(random.uniform(0.05, 0.35)),
    )
