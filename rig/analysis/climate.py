"""The climate of a run: means, what follows from them, and how well they are known.

Saturation vapour pressure over water by Hyland and Wexler (1983), as in the ASHRAE Handbook of
Fundamentals, chapter 1; below 0 °C the same formula (over water) is used, so that dew points are
dew points, not frost points.
"""

import math
from collections.abc import Sequence

import msgspec

from rig.runfile.model import Climate

GAS_CONSTANT_VAPOUR = 461.5
"""Of water vapour, in J/(kg·K)."""

U_TEMPERATURE_K = 1.0 / math.sqrt(3.0)
"""The sensor's ±1.0 °C (0…65 °C) as a rectangular distribution."""

U_HUMIDITY_PCT = 3.0 / math.sqrt(3.0)
"""The sensor's ±3 %RH (BME280 datasheet, table 2) as a rectangular distribution."""

DRIFT_K = 1.0
DRIFT_PCT = 4.0
"""A run whose air changes by more than this is flagged."""


def saturation_pressure_pa(temperature_c: float) -> float:
    """Saturation vapour pressure over water, in Pa (Hyland and Wexler, 1983)."""
    kelvin = temperature_c + 273.15
    return math.exp(
        -5.8002206e3 / kelvin
        + 1.3914993
        - 4.8640239e-2 * kelvin
        + 4.1764768e-5 * kelvin**2
        - 1.4452093e-8 * kelvin**3
        + 6.5459673 * math.log(kelvin)
    )


def vapour_pressure_pa(temperature_c: float, relative_humidity_pct: float) -> float:
    """Partial pressure of the water vapour, in Pa."""
    return relative_humidity_pct / 100.0 * saturation_pressure_pa(temperature_c)


def dew_point_c(temperature_c: float, relative_humidity_pct: float) -> float | None:
    """Dew point in °C, by Newton's method on the saturation pressure; None for dry air."""
    target = vapour_pressure_pa(temperature_c, relative_humidity_pct)
    if target <= 0.0:
        return None
    wanted = math.log(target / 610.94)
    dew = 243.04 * wanted / (17.625 - wanted)  # Magnus' form, a first guess
    for _ in range(8):
        kelvin = dew + 273.15
        slope = (
            5.8002206e3 / kelvin**2
            - 4.8640239e-2
            + 2 * 4.1764768e-5 * kelvin
            - 3 * 1.4452093e-8 * kelvin**2
            + 6.5459673 / kelvin
        )
        change = math.log(target / saturation_pressure_pa(dew)) / slope
        dew += change
        if abs(change) < 1e-10:
            break
    return dew


def absolute_humidity_g_m3(temperature_c: float, relative_humidity_pct: float) -> float:
    """Mass of water vapour in the air, in g/m³ (as an ideal gas)."""
    pressure = vapour_pressure_pa(temperature_c, relative_humidity_pct)
    return 1000.0 * pressure / (GAS_CONSTANT_VAPOUR * (temperature_c + 273.15))


def surface_humidity_pct(
    temperature_c: float, relative_humidity_pct: float, board_temperature_c: float
) -> float:
    """Relative humidity at the board's surface, in %, from the air's vapour pressure."""
    pressure = vapour_pressure_pa(temperature_c, relative_humidity_pct)
    return 100.0 * pressure / saturation_pressure_pa(board_temperature_c)


class RunClimate(msgspec.Struct, frozen=True, kw_only=True):
    """The climate of one run; None where it was not measured."""

    temperature_c: float | None = None
    u_temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    u_relative_humidity_pct: float | None = None
    absolute_humidity_g_m3: float | None = None
    dew_point_c: float | None = None
    surface_humidity_pct: float | None = None
    drifted: bool = False


def _mean(values: list[float], u_sensor: float) -> tuple[float | None, float | None, float]:
    """Mean, its standard uncertainty, and the range."""
    if not values:
        return None, None, 0.0
    mean = math.fsum(values) / len(values)
    scatter = 0.0
    if len(values) > 1:
        squares = math.fsum((value - mean) ** 2 for value in values)
        scatter = squares / (len(values) - 1) / len(values)
    return mean, math.sqrt(u_sensor**2 + scatter), max(values) - min(values)


def run_climate(lines: Sequence[Climate], from_s: float, to_s: float) -> RunClimate:
    """The climate between two times of a run, or of the whole run if nothing was read between."""
    within = [line for line in lines if from_s <= line.t_s <= to_s] or list(lines)
    temperature, u_temperature, range_k = _mean(
        [line.temperature_c for line in within if line.temperature_c is not None], U_TEMPERATURE_K
    )
    humidity, u_humidity, range_pct = _mean(
        [line.relative_humidity_pct for line in within if line.relative_humidity_pct is not None],
        U_HUMIDITY_PCT,
    )
    board, _, _ = _mean(
        [line.board_temperature_c for line in within if line.board_temperature_c is not None], 0.0
    )
    climate = RunClimate(
        temperature_c=temperature,
        u_temperature_c=u_temperature,
        relative_humidity_pct=humidity,
        u_relative_humidity_pct=u_humidity,
        drifted=range_k > DRIFT_K or range_pct > DRIFT_PCT,
    )
    if temperature is None or humidity is None:
        return climate
    return msgspec.structs.replace(
        climate,
        absolute_humidity_g_m3=absolute_humidity_g_m3(temperature, humidity),
        dew_point_c=dew_point_c(temperature, humidity),
        surface_humidity_pct=(
            None if board is None else surface_humidity_pct(temperature, humidity, board)
        ),
    )
