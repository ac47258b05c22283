"""The simulated rig as one piece: what takes the place of pins, bus and clock."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from rig.calibration.model import Calibration, Vector
from rig.clock import Clock, Task
from rig.errors import MachineFaultError
from rig.runfile.writer import SUFFIX
from rig.settings.model import Settings
from rig.twin.calibration import calibration_for
from rig.twin.chips.bme280_chip import Bme280Chip
from rig.twin.chips.chip import Vectors
from rig.twin.chips.fake_bus import FakeBus
from rig.twin.chips.lsm6_chip import Lsm6Chip
from rig.twin.chips.mpu6050_chip import Mpu6050Chip
from rig.twin.fitted import MPU_TRIM, fitted_chip
from rig.twin.gyro import Gyro
from rig.twin.hand_world import HandWorld
from rig.twin.lifting import Display, lift_by_hand
from rig.twin.person import attend
from rig.twin.pins import TwinFactory
from rig.twin.placed import incline_of
from rig.twin.scenario import Scenario, Truth
from rig.twin.sensor import Sensor
from rig.twin.streams import stream
from rig.twin.world import World


class TwinRig:
    """A simulated rig on a clock, virtual or real.

    Args:
        settings: what the program believes of it.
        scenario: what is true.
        seed: of all draws.
        clock: the clock that the program runs on.
    """

    def __init__(self, settings: Settings, scenario: Scenario, seed: int, clock: Clock) -> None:
        self.settings = settings
        self.seed = seed
        self.clock = clock
        self.is_by_hand = settings.motion.raised_by == "hand"
        made_by = HandWorld if self.is_by_hand else World
        self.world: World = made_by(clock, settings, scenario, seed)
        self.factory = TwinFactory(self.world, clock)
        self.imu = self._imu()
        self.climate = Bme280Chip(self.world.air_seen)
        self.bus = FakeBus(
            clock,
            {settings.bus.imu_address: self.imu, settings.bus.climate_address: self.climate},
        )
        self._sensor: Sensor | None = None
        self._gyro: Gyro | None = None
        self._held_deg: Vector | None = None

    def open_bus(self) -> FakeBus:
        """What opening the device node of the bus gives."""
        return self.bus.open()

    def calibration(self) -> Calibration:
        """The calibration that this rig's owner has made of its angle sensor."""
        return calibration_for(self.world.scenario, self.settings, self.seed)

    def person(self, *, presses: bool = True) -> Task[None]:
        """Task: the person who serves the rig; without `presses`, start is pressed by others."""
        return attend(self.world, self.clock, presses=presses)

    def lifter(self, sees: Callable[[], Display], *, presses: bool = True) -> Task[None]:
        """Task: the person who serves and raises a rig without a motor."""
        assert isinstance(self.world, HandWorld)  # noqa: S101 - asked for only there
        return lift_by_hand(self.world, self.clock, sees, presses=presses)

    @property
    def truths(self) -> list[Truth]:
        """What happened in each placing that was raised, the present one included."""
        last = self.world.truth()
        done = self.world.truths
        return [*done, last] if last is not None and (not done or done[-1] != last) else [*done]

    def write_truth(self, run_file: Path) -> Path | None:
        """Write the truth of the last raise beside its run file; None before any raise.

        Raises:
            MachineFaultError: cause `disk`.
        """
        truth = self.world.truth()
        if truth is None:
            return None
        path = run_file.with_name(run_file.name.removesuffix(SUFFIX) + ".truth.json")
        try:
            path.write_bytes(msgspec.json.format(msgspec.json.encode(truth)) + b"\n")
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise MachineFaultError("disk", f"{path} cannot be written: {reason}.") from error
        return path

    def _imu(self) -> Any:
        chip = fitted_chip(self.settings, self.world.scenario.imu)
        temperature = self.world.imu_temperature_c
        if chip.model == "mpu6050":
            return Mpu6050Chip(
                self._sample,
                temperature,
                rate_error=chip.rate_error,
                trim=MPU_TRIM,
                turn=self._turn if self.is_by_hand else None,
            )
        return Lsm6Chip(
            self._sample,
            temperature,
            identity=chip.who,
            frequency_fine=chip.frequency_fine,
            rate_error=chip.rate_error,
            turn=self._turn if self.is_by_hand else None,
        )

    def _turn(self, times_s: list[float]) -> Vectors:
        """Turn at the chip's sample times, through the filter that it is set to."""
        gyro, chip, world = self._gyro, self.imu, self.world
        if gyro is None or (gyro.rate_hz, gyro.lowpass_hz) != (chip.rate_hz, chip.gyro_lowpass_hz):
            gyro = self._gyro = Gyro(
                world.scenario.imu,
                chip.rate_hz,
                chip.gyro_lowpass_hz,
                world.motion,
                stream(self.seed, "gyro noise"),
            )
        return gyro.sample(times_s, world.imu_temperature_c(times_s[-1]))

    def _sample(self, times_s: list[float]) -> Vectors:
        """Acceleration at the chip's sample times, through the filter that it is set to."""
        sensor, chip = self._sensor, self.imu
        rate_hz, lowpass_hz = chip.rate_hz, chip.lowpass_hz
        world = self.world
        is_new = sensor is None or (sensor.rate_hz, sensor.lowpass_hz) != (rate_hz, lowpass_hz)
        if sensor is None or is_new or self._held_deg != world.held_deg:
            self._held_deg, imu = world.held_deg, world.scenario.imu
            if self._held_deg is not None:
                imu = msgspec.structs.replace(imu, mounting_deg=self._held_deg)
            sensor = self._sensor = Sensor(
                imu,
                incline_of(world.scenario),
                rate_hz,
                lowpass_hz,
                world.motion,
                stream(self.seed, "sensor"),
            )
        return sensor.sample(times_s, self.world.imu_temperature_c(times_s[-1]))
