"""What is true of bags, boards, recipes and weather: some given by name, the rest drawn by name.

Whatever has a name is the same each time for one seed, whoever asks. Nothing here is a form that
the analysis fits exactly: treatments take shares of a coefficient, and with the law `late` the
first application does less than the second.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from math import atan, degrees, exp, pi, sin
from typing import Literal, NamedTuple

import msgspec

from rig.twin.draws import draw_air, draw_scenario
from rig.twin.fabric import Face, coefficients, wetting_moisture
from rig.twin.friction import LawName
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
SHARES: dict[str, dict[str, float]] = {
    "soft soak": {"slick": 0.075, "grip": 0.045},
    "warm tumble": {"slick": 0.005, "grip": 0.02},
}
"""What a first application takes of a face's coefficients; other recipes are drawn."""
LEFT = 0.6
"""With the law `saturating` each application does this share of what the one before did."""
LATE = 3.0
"""With the law `late` n applications have done n²/(n² + LATE) of all they will ever do."""
THROWN_SHARE, THROWS = 0.05, 600.0
"""Throws take up to this share, 63 % of it within so many."""
RESPONSE_SD = 0.15
BOARD_SD = 0.02

Wear = Literal["saturating", "late"]


class Past(NamedTuple):
    """What a bag has been through."""

    recipes: Sequence[str] = ()
    """In order."""
    throws: int = 0


def face_named(seed: int, bag: str | None, face: str | None) -> Face | None:
    """The face of a bag by its names, as new.

    A name that nobody invented yet gives a face drawn from the seed and the name, the same one
    each time; without a bag there is None.
    """
    if bag is None:
        return None
    known = FACES.get((bag, face or "slick"))
    if known is not None:
        return known
    random = stream(seed, "bag", bag, face or "slick")
    mu_static = float(random.uniform(0.4, 0.58) if face == "grip" else random.uniform(0.28, 0.42))
    return Face(
        mu_static_dry=mu_static,
        mu_kinetic_dry=mu_static - float(random.uniform(0.015, 0.08)),
        humidity_gain=float(random.uniform(0.08, 0.3)),
    )


def share_of(seed: int, recipe: str, face: str) -> float:
    """What a first application of a recipe takes of this face's coefficients."""
    known = SHARES.get(recipe)
    if known is not None:
        return known.get(face, 0.0)
    random = stream(seed, "recipe", recipe, face)
    # Some recipes do nothing, and few make a face grip more.
    share = float(random.uniform(-0.02, 0.09))
    return 0.0 if abs(share) < 0.01 else round(share, 3)


def left_of(
    seed: int, bag: str, face: str, past: Past, shares: Mapping[str, float], wear: Wear
) -> float:
    """What is left of the coefficients of a face as new.

    Args:
        seed: of the bag's own response to each recipe.
        bag: its name.
        face: its name.
        past: of the bag.
        shares: of each recipe's first application on this face; else as `share_of` draws it.
        wear: how applications add up.
    """
    left = 1.0 - THROWN_SHARE * (1.0 - exp(-past.throws / THROWS))
    for recipe in dict.fromkeys(past.recipes):
        n = past.recipes.count(recipe)
        share = shares[recipe] if recipe in shares else share_of(seed, recipe, face)
        if wear == "saturating":
            times = (1.0 - LEFT**n) / (1.0 - LEFT)
        else:
            times = (1.0 + LATE) * n * n / (n * n + LATE)
        response = float(stream(seed, "response", bag, recipe).normal(1.0, RESPONSE_SD))
        left *= 1.0 - share * times * response
    return left


def board_factor(seed: int, board: str | None) -> float:
    """How much more than the usual board this one holds any bag."""
    if board is None:
        return 1.0
    return 1.0 + BOARD_SD * float(stream(seed, "board", board).normal())


def on_board(
    seed: int,
    bag: str | None,
    face: str | None,
    board: str | None,
    past: Past,
    *,
    shares: Mapping[str, float] | None = None,
    wear: Wear = "saturating",
) -> Face | None:
    """A face as it is after all that the bag has been through, on this board."""
    new = face_named(seed, bag, face)
    if new is None or bag is None:
        return None
    left = left_of(seed, bag, face or "slick", past, shares or {}, wear)
    left *= board_factor(seed, board)
    return msgspec.structs.replace(
        new,
        mu_static_dry=left * new.mu_static_dry,
        mu_kinetic_dry=left * new.mu_kinetic_dry,
    )


def scenario_of(
    seed: int,
    face: Face | None,
    air: AirTruth | None,
    *,
    law: LawName = "coulomb",
    session: str,
    series: str,
    slides_before: int,
    is_session_named: bool = False,
) -> Scenario:
    """The rig of this seed with a face on it; an air not given is drawn from the session's name."""
    found = draw_scenario(
        seed,
        face=face,
        law=law,
        air=air,
        session=session,
        series=series,
        slides_before=slides_before,
    )
    return msgspec.structs.replace(found, is_session_named=is_session_named)


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


def weather(seed: int, now: datetime) -> AirTruth:
    """The shed's air at a time: days differ, afternoons are warm and dry."""
    (t0, h0), (t1, h1) = (_outside(seed, now + timedelta(hours=hours)) for hours in (0.0, 1.0))
    return msgspec.structs.replace(
        draw_air(seed, f"{now:%Y-%m-%d}"),
        temperature_c=t0,
        relative_humidity_pct=h0,
        temperature_drift_k_h=t1 - t0,
        humidity_drift_pct_h=h1 - h0,
    )


def _outside(seed: int, at: datetime) -> tuple[float, float]:
    """°C and %RH: from noon to noon in a straight line, with a daily swing."""
    noon = at.replace(hour=12, minute=0, second=0, microsecond=0)
    if at < noon:
        noon -= timedelta(days=1)
    share = (at - noon) / timedelta(days=1)
    days = (stream(seed, "weather", f"{noon + timedelta(days=n):%Y-%m-%d}") for n in (0, 1))
    (warm, damp), (warm_next, damp_next) = (day.normal(size=2).tolist() for day in days)
    hour = at.hour + at.minute / 60.0
    swing = sin(2.0 * pi * (hour - 9.0) / 24.0)
    temperature = 22.0 + 3.0 * (warm + share * (warm_next - warm)) + 2.5 * swing
    humidity = 52.0 + 12.0 * (damp + share * (damp_next - damp)) - 6.0 * swing
    return temperature, min(max(humidity, 15.0), 92.0)


def angle_deg(face: Face, humidity_pct: float, slides_before: int) -> float:
    """Slide angle of a face in balance with air of this humidity at the board, no scatter."""
    mu_static, _ = coefficients(
        face,
        moisture=wetting_moisture(humidity_pct),
        dwell_s=10.0,
        slides_before=slides_before,
        scatter=0.0,
    )
    return degrees(atan(mu_static))
