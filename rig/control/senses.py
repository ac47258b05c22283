"""Sensors of an opened rig: the tasks that keep reading them, and their listeners."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rig.calibration.apply import slopes_deg
from rig.calibration.model import Calibration
from rig.clock import At, Clock, Task
from rig.control.live import Live
from rig.control.recorder import Recorder
from rig.control.sensor_health import SensorHealth
from rig.devices.climate import ClimateReading, ClimateSensor
from rig.devices.imu import Counts, Imu, ImuBatch
from rig.errors import MachineFaultError
from rig.settings.model import Settings

SAMPLE_PERIOD_S = 0.04
RESTING_PERIOD_S = 0.2
"""Reading interval at rest; the sensor's own FIFO holds the samples."""
IMU_TEMPERATURE_PERIOD_S = 2.0


class Senses:
    """The machine's angle and climate sensors, and their latest values.

    Args:
        clock: the clock of all tasks.
        settings: the rig's settings.
        calibration: of the angle sensor; without one no angle is known.
    """

    imu: Imu
    climate: ClimateSensor

    def __init__(self, clock: Clock, settings: Settings, calibration: Calibration | None) -> None:
        self.clock = clock
        self.settings = settings
        self.calibration = calibration
        self.live = Live()
        self.recorder: Recorder | None = None
        self.doubtful_climates = 0
        """Readings in a row without a plausible temperature and humidity."""
        self._health: SensorHealth | None = None
        self._listeners: list[Callable[[ImuBatch], None]] = []

    @property
    def is_moving(self) -> bool:
        """Whether a motor moves; then the angle sensor is read more often."""
        raise NotImplementedError

    def begin_health(self) -> None:
        """Begin to check the angle sensor's samples."""
        self._health = SensorHealth(self.imu.counts_per_g, self.imu.setup.rate_hz)

    @contextmanager
    def sensor_in_hand(self) -> Iterator[None]:
        """Context in which no reading of the angle sensor is a fault: a person is turning it."""
        self._health = None
        try:
            yield
        finally:
            self.begin_health()

    def sensor_problem(self) -> MachineFaultError | None:
        """Fault of the angle sensor's newest samples, if any."""
        return None if self._health is None else self._health.problem

    def watch_angle(self) -> Task[None]:
        """Task: keep reading the angle sensor, for the file and for the interlocks."""
        self.imu.start()
        due = self.clock.time_s()
        next_temperature_s = due
        while True:
            if due >= next_temperature_s:
                self.live.imu_temperature_c = self.imu.temperature_c()
                self.imu.verify()
                next_temperature_s = due + IMU_TEMPERATURE_PERIOD_S
            for batch in self.imu.read_batches():
                self._take(batch)
            period_s = SAMPLE_PERIOD_S if self.is_moving else RESTING_PERIOD_S
            due = max(due + period_s, self.clock.time_s())
            yield At(due)

    def _take(self, batch: ImuBatch) -> None:
        recorder = self.recorder
        if recorder is not None:
            chip_c = self.live.imu_temperature_c
            recorder.samples(batch.t_s, batch.dt_s, batch.counts, chip_c, batch.gyro_counts)
        for hear in self._listeners:
            hear(batch)
        if self.calibration is not None:
            self.live.angle_deg, self.live.cross_slope_deg = self.angles_deg(batch.counts)
        if self._health is not None:
            self._health.feed(batch.counts, self.live.angle_deg)
        self.live.angle_seen_s = batch.t_s + len(batch.counts) * batch.dt_s

    def watch_climate(self) -> Task[None]:
        """Task: keep reading the climate sensor."""
        while True:
            reading = self.climate.read()
            self.live.temperature_c = reading.temperature_c
            self.live.relative_humidity_pct = reading.relative_humidity_pct
            self.live.pressure_hpa = reading.pressure_hpa
            is_good = (
                reading.temperature_c is not None and reading.relative_humidity_pct is not None
            )
            self.doubtful_climates = 0 if is_good else self.doubtful_climates + 1
            self._record_climate(reading)
            yield At(self.clock.time_s() + self.settings.cycle.climate_interval_s)

    def _record_climate(self, reading: ClimateReading) -> None:
        if self.recorder is not None:
            # No surface sensor yet: the chip on the cradle stands in, marked as such.
            self.recorder.climate(
                self.clock.time_s(),
                reading,
                self.live.imu_temperature_c,
                None if self.live.imu_temperature_c is None else "imu",
            )

    @contextmanager
    def listening(self, hear: Callable[[ImuBatch], None]) -> Iterator[None]:
        """Context in which `hear` also gets every batch of samples."""
        self._listeners.append(hear)
        try:
            yield
        finally:
            self._listeners.remove(hear)

    @contextmanager
    def listening_to_counts(self, counts: list[Counts]) -> Iterator[None]:
        """Context in which every sample is also appended to `counts`."""
        with self.listening(lambda batch: counts.extend(batch.counts)):
            yield

    def angles_deg(self, counts: Sequence[Counts]) -> tuple[float, float]:
        """Inclination and cross slope from the mean of some counts, signed, in degrees.

        Raises:
            MachineFaultError: there are no counts.
        """
        if not counts:
            raise MachineFaultError(
                "imu_silent",
                "The angle sensor gave no sample.",
            )
        if self.calibration is None:
            raise RuntimeError("counts cannot be turned into an angle without a calibration")
        mean = [sum(axis) / len(counts) for axis in zip(*counts, strict=True)]
        return slopes_deg(self.calibration, mean, self.live.imu_temperature_c)
