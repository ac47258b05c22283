"""What friction a bag's face has at this moment: moisture, age of contact, load, wear, scatter.

The forms are chosen to be plausible and to be *none* of those that an analysis would fit: moisture
follows a sorption isotherm with two branches and a lag, and friction a sigmoid of the moisture.
"""

from math import exp, log

from msgspec import Struct

REFERENCE_PRESSURE_PA = 185.0
"""A bag of 440 g resting on a square of 6 inches."""


class Face(Struct, frozen=True, kw_only=True):
    """One face of a fabric bag on one board, in a dry, settled state at the reference pressure."""

    mu_static_dry: float = 0.40
    mu_kinetic_dry: float = 0.35
    humidity_gain: float = 0.25
    """Share by which friction rises from bone dry to saturated; negative where damp slips."""
    moisture_mid: float = 0.075
    """Moisture (share of the dry mass) at the steepest part of that rise."""
    moisture_width: float = 0.018
    sorption_hours: float = 2.0
    hysteresis: float = 0.018
    """Widest distance between the drying and the wetting branch, in moisture."""
    ageing_per_e_fold: float = 0.004
    """β in β·ln(1 + dwell/τ), added to the static coefficient."""
    ageing_time_s: float = 1.0
    load_exponent: float = 0.95
    """n in F = k·Nⁿ."""
    settle_gain: float = 0.06
    """Share by which a fresh surface starts higher."""
    settle_slides: float = 2.5
    scatter_run: float = 0.010
    scatter_series: float = 0.012
    scatter_session: float = 0.015
    """Standard deviations, as shares of the coefficient."""


def plain_face(mu_static: float, mu_kinetic: float) -> Face:
    """A face with exactly these coefficients, whatever the air, the dwell and the history."""
    return Face(
        mu_static_dry=mu_static,
        mu_kinetic_dry=mu_kinetic,
        humidity_gain=0.0,
        ageing_per_e_fold=0.0,
        load_exponent=1.0,
        settle_gain=0.0,
        scatter_run=0.0,
        scatter_series=0.0,
        scatter_session=0.0,
    )


def vapour_pressure_hpa(temperature_c: float) -> float:
    """Saturation over water, Magnus form of Alduchov and Eskridge (J. Appl. Meteorol. 1996)."""
    return 6.1094 * exp(17.625 * temperature_c / (temperature_c + 243.04))


def surface_humidity_pct(
    air_temperature_c: float, relative_humidity_pct: float, board_temperature_c: float
) -> float:
    """Relative humidity of this air at the temperature of the board, 0…100 %."""
    pressure = relative_humidity_pct * vapour_pressure_hpa(air_temperature_c)
    return min(100.0, max(0.0, pressure / vapour_pressure_hpa(board_temperature_c)))


def wetting_moisture(humidity_pct: float) -> float:
    """Balance moisture reached from dry: the GAB isotherm (Guggenheim, Anderson, de Boer).

    m = m₀·C·K·a / ((1 − K·a)(1 − K·a + C·K·a)), with constants of a cotton-like fabric.
    """
    monolayer, energy, multilayer = 0.038, 9.0, 0.78
    ka = multilayer * min(max(humidity_pct, 0.0), 100.0) / 100.0
    return monolayer * energy * ka / ((1.0 - ka) * (1.0 - ka + energy * ka))


def drying_moisture(humidity_pct: float, hysteresis: float) -> float:
    """Balance moisture reached from damp: above the wetting branch, but for the two ends."""
    a = min(max(humidity_pct, 0.0), 100.0) / 100.0
    return wetting_moisture(humidity_pct) + hysteresis * 4.0 * a * (1.0 - a)


def moisture_after(face: Face, start: float, humidity_pct: float, hours: float) -> float:
    """Moisture after some hours in air of constant humidity.

    Below the wetting branch the fabric takes up water towards it, above the drying branch it
    gives off water towards that one, and in between it keeps what it has: so it remembers.
    """
    low = wetting_moisture(humidity_pct)
    high = drying_moisture(humidity_pct, face.hysteresis)
    goal = min(max(start, low), high)
    return goal + (start - goal) * exp(-hours / face.sorption_hours)


def humidity_factor(face: Face, moisture: float) -> float:
    """Friction relative to the dry state: a sigmoid of the moisture, 1 when bone dry."""

    def sigmoid(m: float) -> float:
        return 1.0 / (1.0 + exp(-(m - face.moisture_mid) / face.moisture_width))

    dry = sigmoid(0.0)
    return 1.0 + face.humidity_gain * (sigmoid(moisture) - dry) / (1.0 - dry)


def coefficients(
    face: Face,
    *,
    moisture: float,
    dwell_s: float,
    slides_before: int,
    scatter: float,
    pressure_pa: float = REFERENCE_PRESSURE_PA,
) -> tuple[float, float]:
    """µs and µk of this face now.

    Args:
        face: the face.
        moisture: share of the dry mass.
        dwell_s: time of contact at rest.
        slides_before: slides since the surface was fresh.
        scatter: relative deviation of this run, its series and its session together.
        pressure_pa: mean pressure of the bag on the board.
    """
    load = (pressure_pa / REFERENCE_PRESSURE_PA) ** (face.load_exponent - 1.0)
    settling = 1.0 + face.settle_gain * exp(-slides_before / face.settle_slides)
    common = humidity_factor(face, moisture) * load * settling * (1.0 + scatter)
    ageing = face.ageing_per_e_fold * log(1.0 + max(dwell_s, 0.0) / face.ageing_time_s)
    return common * (face.mu_static_dry + ageing), common * face.mu_kinetic_dry
