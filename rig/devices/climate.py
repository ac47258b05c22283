"""The air's temperature, humidity and pressure, by the Adafruit BME280 driver on the shared bus."""

from struct import unpack
from typing import Any, NamedTuple

from rig.clock import Clock
from rig.devices.bus import Bus
from rig.devices.bus_view import BusView
from rig.errors import BadInputError, MachineFaultError

IDENTITY, RESET, CTRL_MEAS, CONFIG, DATA = 0xD0, 0xE0, 0xF4, 0xF5, 0xF7
TRIM_T_P, TRIM_H = 0x88, 0xE1
BME280, BMP280 = 0x60, frozenset((0x56, 0x57, 0x58))

NORMAL_MODE = 0x03
SKIPPED_20_BIT, SKIPPED_16_BIT = 0x80000, 0x8000
"""Raw value of a channel that has not been measured (from memory)."""

WORK_S = 1.0
"""Upper bound for a reading; measured ones take a few milliseconds."""

RANGES = {"temperature": (-40.0, 85.0), "pressure": (300.0, 1100.0)}
"""Operating range in °C and hPa (BME280 datasheet BST-BME280-DS002)."""


class ClimateReading(NamedTuple):
    """The air; a value that cannot be trusted is None, and `doubts` says why."""

    temperature_c: float | None
    relative_humidity_pct: float | None
    pressure_hpa: float | None
    doubts: tuple[str, ...] = ()


class ClimateSensor:
    """One BME280 that measures by itself twice a second (normal mode).

    Args:
        bus: the shared bus.
        clock: the rig's clock.
        address: 0x76 or 0x77.
    """

    def __init__(self, bus: Bus, clock: Clock, address: int) -> None:
        self._bus = bus
        self._clock = clock
        self._address = address
        self._view = BusView(bus, clock, once_only=frozenset((RESET,)))
        self._driver: Any = None
        self.restarts = 0
        """Number of times the chip lost its configuration and was set up again."""

    def open(self) -> None:
        """Check the identity and the trimming constants, start measuring, wait for the first.

        Raises:
            BadInputError: if the chip is absent or another one, or the driver does not load.
            MachineFaultError: if its trimming constants are blank, or it does not answer.
        """
        self._check_identity()
        self._check_trim()
        self._set_up()

    def close(self) -> None:
        """Put the chip to sleep; harmless when it is not open or does not answer."""
        driver, self._driver = self._driver, None
        if driver is not None:
            try:
                self._bus.write(self._address, CTRL_MEAS, 0x00)
            except MachineFaultError:
                pass  # a chip that does not answer cannot be put to sleep, and needs no sleep

    def read(self) -> ClimateReading:
        """The newest measurement.

        Raises:
            MachineFaultError: `"bus"` or `"climate_silent"`, if the chip does not answer.
        """
        if self._driver is None:
            raise RuntimeError("the climate sensor is not open")
        if self._bus.read(self._address, CTRL_MEAS)[0] & 0x03 != NORMAL_MODE:
            self.restarts += 1
            self._set_up()
        data = bytes(self._bus.read(self._address, DATA, 8))
        raw_pressure, raw_temperature = (
            int.from_bytes(data[i : i + 3], "big") >> 4 for i in (0, 3)
        )
        raw_humidity = int.from_bytes(data[6:8], "big")
        if raw_temperature == SKIPPED_20_BIT:
            return ClimateReading(None, None, None, ("the chip has not measured yet",))
        with self._view.within(WORK_S):
            temperature_c = float(self._driver.temperature)
            humidity_pct: float | None = float(self._driver.relative_humidity)
            pressure_hpa: float | None = float(self._driver.pressure)
        low, high = RANGES["temperature"]
        if not low <= temperature_c <= high:
            doubt = f"temperature {temperature_c:.1f} °C is outside of {low:.0f} to {high:.0f} °C"
            return ClimateReading(None, None, None, (doubt,))
        doubts = []
        if raw_humidity == SKIPPED_16_BIT:
            humidity_pct = None
            doubts.append("humidity was not measured")
        elif humidity_pct in (0.0, 100.0):
            # The driver clips to this range, so an end of it may stand for anything beyond.
            doubts.append(f"humidity of exactly {humidity_pct:.0f} % is the end of the range")
            humidity_pct = None
        low, high = RANGES["pressure"]
        if raw_pressure == SKIPPED_20_BIT:
            pressure_hpa = None
            doubts.append("pressure was not measured")
        elif pressure_hpa is not None and not low <= pressure_hpa <= high:
            doubts.append(f"pressure {pressure_hpa:.0f} hPa is outside of {low:.0f} to {high:.0f}")
            pressure_hpa = None
        return ClimateReading(temperature_c, humidity_pct, pressure_hpa, tuple(doubts))

    def _check_identity(self) -> None:
        if (
            self._bus.answers(self._address)
            and self._bus.read(self._address, IDENTITY)[0] in BMP280
        ):
            raise BadInputError(
                f"The chip at address 0x{self._address:02X} of {self._bus.name} is a BMP280, which "
                f"has no humidity sensor; the rig needs a BME280."
            )
        self._bus.identify(self._address, IDENTITY, {BME280: "BME280"}, "bus.climate_address")

    def _check_trim(self) -> None:
        trim = bytes(self._bus.read(self._address, TRIM_T_P, 24))
        trim_h = bytes(self._bus.read(self._address, TRIM_H, 7))
        first = unpack("<3H", trim[0:2] + trim[6:8] + trim_h[0:2])  # T1, P1, H2: never 0 or FFFF
        if any(value in (0x0000, 0xFFFF) for value in first):
            raise MachineFaultError(
                "climate_blank",
                f"The climate sensor at address 0x{self._address:02X} shows blank trimming "
                f"constants, so nothing it measures can be computed.",
            )

    def _set_up(self) -> None:
        advanced = _driver_module()
        try:
            with self._view.within(WORK_S):
                driver = advanced.Adafruit_BME280_I2C(self._view, self._address)
                driver.overscan_temperature = advanced.OVERSCAN_X2
                driver.overscan_pressure = advanced.OVERSCAN_X4
                driver.overscan_humidity = advanced.OVERSCAN_X4
                # The driver drops the standby time whenever it writes this register in normal
                # mode, and the chip then measures without a pause and warms itself.
                self._bus.write(self._address, CONFIG, advanced.STANDBY_TC_500 << 5)
                driver.mode = advanced.MODE_NORMAL
        except (ValueError, RuntimeError) as error:
            raise MachineFaultError(
                "climate_silent",
                f"The climate sensor at address 0x{self._address:02X} fell silent while it was "
                f"set up ({error}).",
            ) from error
        self._driver = driver
        self._clock.pause_s(driver.measurement_time_max / 1000 + 0.005)


def _driver_module() -> Any:
    """Load the driver late: it brings in Blinka, which looks at the machine as it loads."""
    try:
        from adafruit_bme280 import advanced
    except (ImportError, NotImplementedError, RuntimeError) as error:
        raise BadInputError(
            f"The driver of the climate sensor does not load on this machine ({error}); install "
            f"it with `pip install adafruit-circuitpython-bme280`, or use --twin."
        ) from error
    return advanced
