"""Plausible values in a run file: one table, with the reason for each limit.

A file with a value outside is refused whole: its other values may be wrong too.
Bounds that follow from no data sheet are wide; they keep out slips of a decimal point, not doubt.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

from msgspec import Meta


class Limit(NamedTuple):
    """The plausible range of one value; both ends belong to it."""

    low: float
    high: float
    unit: str
    reason: str

    @property
    def meta(self) -> Meta:
        """The same for the type of a line, so that the decoder finds what lies outside."""
        return Meta(ge=self.low, le=self.high)

    def words(self, name: str, value: float) -> str:
        """The sentence about a value outside, without its place."""
        unit = f" {self.unit}" if self.unit else ""
        return (
            f"{name} is {_shown(value)}, and only {self.low:g} to {self.high:g}{unit} is plausible"
            f" ({self.reason})"
        )


_DAY_S = 86400.0

TIME_S = Limit(-_DAY_S, 30 * _DAY_S, "s", "a run lasts minutes")
STEP_S = Limit(1e-5, 5.0, "s", "sensors give 1 to 8,000 samples/s; at rest one a second is kept")
COUNT = Limit(-32768, 32767, "", "angle sensors give 16 bits")
CHIP_C = Limit(-60.0, 150.0, "°C", "no silicon sensor works outside")
AIR_C = Limit(-40.0, 85.0, "°C", "operating range in the BME280 data sheet")
HUMIDITY_PCT = Limit(0.0, 100.0, "%", "a share of saturation")
PRESSURE_HPA = Limit(300.0, 1100.0, "hPa", "operating range in the BME280 data sheet")
STEPS = Limit(-(2**31), 2**31 - 1, "", "a raise takes some ten thousand steps")
LATE_US = Limit(0.0, 1e9, "µs", "no step is early")
NUMBER = Limit(0, 2**31 - 1, "", "it is counted from 0")
RATE_DEG_S = Limit(1e-3, 30.0, "°/s", "a board raised slower or faster gives no slide angle")
DWELL_S = Limit(0.0, 30 * _DAY_S, "s", "a rest has a length")
ANGLE_DEG = Limit(-90.0, 90.0, "°", "a board is never past upright")
U_ANGLE_DEG = Limit(0.0, 90.0, "°", "an uncertainty is not negative")
LENGTH_MM = Limit(1.0, 3000.0, "mm", "a bag has a length, and fits on the board")
MEASURED_LENGTH_MM = Limit(-3000.0, 3000.0, "mm", "about 0 where no bag lies at the blade")
GAP_MM = Limit(0.0, 3000.0, "mm", "a bag is put down below the beam, on the board")
SLUMP_MM = Limit(0.0, 300.0, "mm", "the fill creeps downhill")
U_LENGTH_MM = Limit(0.0, 1000.0, "mm", "an uncertainty is not negative")
MASS_G = Limit(1.0, 1e5, "g", "a bag has a mass, and one can lift it")
HOURS = Limit(0.0, 1e5, "h", "a time spent in a climate is not negative")
RATE_HZ = Limit(0.1, 1e5, "Hz", "range of angle sensors and their filters")
GYRO_COUNTS = Limit(1.0, 1e4, "counts per °/s", "ranges of ±2000 to ±16 °/s in 16 bits")

LIMITS: dict[str, dict[str, Limit]] = {
    "header": {
        "rate_deg_s": RATE_DEG_S,
        "dwell_s": DWELL_S,
        "approach_deg": ANGLE_DEG,
        "gap_mm": GAP_MM,
        "u_gap_mm": U_LENGTH_MM,
        "bag_length_mm": LENGTH_MM,
        "u_bag_length_mm": U_LENGTH_MM,
        "bag_mass_g": MASS_G,
        "conditioned_h": HOURS,
        "repeat": NUMBER,
        "slide_number": NUMBER,
        "slides_before": NUMBER,
        "settings.slump_mm": SLUMP_MM,
        "settings.u_slump_mm": U_LENGTH_MM,
        "settings.imu.rate_hz": RATE_HZ,
        "settings.imu.lowpass_hz": RATE_HZ,
        "settings.imu.gyro_counts_per_deg_s": GYRO_COUNTS,
        "settings.imu.gyro_lowpass_hz": RATE_HZ,
    },
    "event": {
        "t_s": TIME_S,
        "detail.gap_mm": GAP_MM,
        "detail.u_gap_mm": U_LENGTH_MM,
        "detail.bag_length_mm": MEASURED_LENGTH_MM,
        "detail.dwell_s": DWELL_S,
        "detail.approach_deg": ANGLE_DEG,
        "detail.angle_deg": ANGLE_DEG,
        "detail.u_angle_deg": U_ANGLE_DEG,
        "detail.cross_deg": ANGLE_DEG,
    },
    "samples": {
        "t_s": TIME_S,
        "dt_s": STEP_S,
        "counts": COUNT,
        "gyro_counts": COUNT,
        "imu_temperature_c": CHIP_C,
    },
    "climate": {
        "t_s": TIME_S,
        "temperature_c": AIR_C,
        "relative_humidity_pct": HUMIDITY_PCT,
        "pressure_hpa": PRESSURE_HPA,
        "board_temperature_c": CHIP_C,
    },
    "steps": {"t_s": TIME_S, "count": STEPS, "jitter_us": LATE_US},
    "end": {"samples_lost": NUMBER, "bus_retries": NUMBER, "lines": NUMBER},
}
"""By the kind of a line and the path of its key; of a list, each value counts."""

BACK_S = 10.0
"""Batches of samples overlap by less than a FIFO's length (some seconds) where some were lost; a
line of samples that goes further back was not written by one clock."""


def implausible(line: dict[str, Any]) -> str | None:
    """What is implausible in a line as it was decoded, or None."""
    for path, limit in LIMITS.get(str(line.get("kind")), {}).items():
        for value in _values(line, path.split(".")):
            if not limit.low <= value <= limit.high:
                return limit.words(path.rpartition(".")[2], value)
    return None


def implausible_detail(detail: dict[str, Any]) -> str | None:
    """The same for an event, of which only the detail is still to be looked at."""
    return implausible({"kind": "event", "detail": detail})


def _values(value: Any, path: list[str]) -> Iterator[float]:
    """The numbers at the end of a path."""
    if path:
        if isinstance(value, dict) and path[0] in value:
            yield from _values(value[path[0]], path[1:])
    elif isinstance(value, list):
        for one in value:
            yield from _values(one, path)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield value


def _shown(value: float) -> str:
    try:
        return f"{float(value):.6g}"
    except OverflowError:
        return "far too large"
