"""The opened rig: its devices, what they see, and the tasks that keep looking."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import TracebackType
from typing import Any, NamedTuple, Self

import msgspec

from rig.calibration.apply import slopes_deg
from rig.calibration.home import HomeCheck
from rig.calibration.model import Calibration
from rig.clock import At, Clock, Task
from rig.control.host import Host
from rig.control.live import Live
from rig.control.lock import RigLock
from rig.control.progress_watch import ProgressWatch
from rig.control.recorder import Recorder
from rig.control.sensor_health import SensorHealth
from rig.devices.bus import Bus
from rig.devices.climate import ClimateReading, ClimateSensor
from rig.devices.imu import Counts, Imu, ImuBatch
from rig.devices.inputs import Inputs
from rig.devices.lamp import StateLamp
from rig.devices.open_imu import make_imu
from rig.devices.stepper import Stepper
from rig.errors import MachineFaultError
from rig.motion.linkage import Linkage
from rig.motion.ramp import Plan, plan_move
from rig.runfile.model import State
from rig.settings.checks import lowering_rate_deg_s
from rig.settings.model import Settings

SAMPLE_PERIOD_S = 0.04
RESTING_PERIOD_S = 0.2
"""While nothing moves the sensor is read less often; its own store holds the samples."""
IMU_TEMPERATURE_PERIOD_S = 2.0
CONTROL_SILENCE_S = 2.0
"""Pulses go on only while the control loop shows a sign of life this often; a slow disk may hold
it up for a while."""


class StopRequest(NamedTuple):
    """Put into the machine's events by whoever wants an orderly stop."""

    reason: str


class Machine:
    """All devices of one rig and the latest that they saw.

    The constructor touches no hardware; `with machine:` opens the devices and closes them, the
    motor first.

    Args:
        clock: the clock that all tasks run on.
        settings: the rig's settings.
        open_pins: makes the pin factory of gpiozero.
        bus: the bus that the chips hang on.
        calibration: of the angle sensor; without one no angle is known and no run can be made.
        host: the computer that this runs on.
        lock: keeps other processes off this rig; a simulated one needs none.
    """

    def __init__(
        self,
        clock: Clock,
        settings: Settings,
        open_pins: Callable[[], Any],
        bus: Bus,
        calibration: Calibration | None,
        host: Host | None = None,
        lock: RigLock | None = None,
    ) -> None:
        self.clock = clock
        self.host = host or Host(clock)
        self.lock = lock
        self.settings = settings
        self.calibration = calibration
        self.bus = bus
        self.linkage = Linkage(settings.linkage, settings.screw)
        self.live = Live()
        self.events = clock.queue()
        self.recorder: Recorder | None = None
        self.opened_s = 0.0
        self.is_homed = False
        self.allow_overdue = False
        """Take a calibration that is past due; its runs are flagged."""
        self.home_check: HomeCheck | None = None
        """What a level said about the home reading since the calibration, if anybody looked."""
        self.homes_slowly = False
        """The last series was cut off: nobody knows how the board stands."""
        self.latched: MachineFaultError | None = None
        """The first fault since the last reset; nothing moves while there is one."""
        self.last_run_reason: MachineFaultError | None = None
        """Why no other run may begin after the present one."""
        self.doubtful_climates = 0
        self.mismatch_since_s: float | None = None
        """Since when sensor and steps differ."""
        self.cut_by: str | None = None
        """Cause for which the pulse loop made no further pulse in the last move."""
        self.progress = ProgressWatch()
        self.on_beat: Callable[[], None] = lambda: None
        """Called with every sign of life of the control loop."""
        self._beat_s = clock.time_s()
        self._health: SensorHealth | None = None
        self._open_pins = open_pins
        self._captured: list[Counts] | None = None
        self._batches: list[ImuBatch] | None = None
        self.pin_factory: Any = None
        """Makes gpiozero's pins; None while the machine is closed."""
        self._opened: list[Any] = []
        self.blade: Stepper | None = None
        """The blade's motor, count 0 at its park place; None without a blade."""

    def __enter__(self) -> Self:
        try:
            self._open()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _open(self) -> None:
        settings = self.settings
        if self.lock is not None:
            self.lock.open()
        factory = self.pin_factory = self._open_pins()
        self._opened.append(factory)
        self.inputs = Inputs(self.clock, factory, settings.pins, self.events)
        self.blade = self._make_blade(factory)
        self.stepper = Stepper(
            self.clock,
            factory,
            settings.pins,
            settings.screw,
            late_pulse_ms=settings.interlocks.late_pulse_ms,
            must_stop=self._must_stop,
        )
        self.lamp = StateLamp(self.clock, factory, settings.pins)
        self.imu: Imu = make_imu(settings, self.bus, self.clock)
        self.climate = ClimateSensor(self.bus, self.clock, settings.bus.climate_address)
        motors: list[Any] = [self.stepper] if self.blade is None else [self.stepper, self.blade]
        for device in (*motors, self.lamp, self.inputs, self.bus, self.imu, self.climate):
            device.open()
            self._opened.append(device)
        self._begin_health()
        self.opened_s = self.clock.time_s()

    def close(self) -> None:
        """Motor off, then everything else; a device that fails to close hinders no other."""
        first: BaseException | None = None
        devices, self._opened, self.pin_factory = self._opened, [], None
        # The motors were opened right after the factory: they go first, all others backwards.
        rest = 3 if self.has_blade else 2
        for device in devices[1:rest] + devices[: rest - 1 : -1] + devices[:1]:
            try:
                device.close()
            except Exception as error:  # each device gets its turn, whatever the one before did
                first = first or error
        if self.lock is not None:
            self.lock.close()
        if first is not None:
            raise first

    def _begin_health(self) -> None:
        self._health = SensorHealth(self.imu.counts_per_g, self.imu.setup.rate_hz)

    @contextmanager
    def sensor_in_hand(self) -> Iterator[None]:
        """While this lasts nothing that the angle sensor shows is a fault: somebody turns it."""
        self._health = None
        try:
            yield
        finally:
            self._begin_health()

    def sensor_problem(self) -> MachineFaultError | None:
        """What is wrong with the angle sensor's newest samples, if anything."""
        return None if self._health is None else self._health.problem

    def beat(self) -> None:
        """A sign of life of the control loop; without one the pulses end."""
        self._beat_s = self.clock.time_s()
        self.on_beat()

    def _must_stop(self) -> bool:
        """Looked at before every pulse, by levels, so that no lost edge can hide a stop."""
        inputs = self.inputs
        if inputs.emergency_stop_pressed:
            self.cut_by = "emergency_stop"
        elif inputs.limit_upper_reached:
            self.cut_by = "limit_upper"
        elif self.clock.time_s() - self._beat_s > CONTROL_SILENCE_S:
            self.cut_by = "control_silent"
        else:
            return False
        return True

    @property
    def is_moving(self) -> bool:
        """Whether a move of the board or of the blade is under way."""
        return self.stepper.moving or (self.blade is not None and self.blade.moving)

    @property
    def has_blade(self) -> bool:
        """Whether a blade places the bag, so that nobody need stand by."""
        return self.settings.blade.fitted

    def _make_blade(self, factory: Any) -> Stepper | None:
        """The blade's stepper, its counts uphill positive; None without a blade."""
        settings, pins = self.settings, self.settings.pins
        if not self.has_blade:
            return None
        wiring = msgspec.structs.replace(
            pins,
            step=pins.blade_step,
            direction=pins.blade_direction,
            enable=pins.blade_enable,
            direction_raises_high=pins.blade_uphill_is_high,
        )
        return Stepper(
            self.clock,
            factory,
            wiring,
            settings.screw,
            late_pulse_ms=settings.interlocks.late_pulse_ms,
            must_stop=self._must_stop,
        )

    def motors_off(self) -> None:
        """Switch every driver off, now; no pulse of a move under way follows."""
        self.stepper.disable()
        if self.blade is not None:
            self.blade.disable()

    def latch(self, fault: MachineFaultError) -> None:
        """Keep the first fault and its cause; the drivers go off, and nothing moves any more."""
        self.motors_off()
        self.is_homed = False
        self.latched = self.latched or fault

    def reset(self) -> None:
        """A person has come and asks for a new beginning: forget the fault, set the sensors up.

        Raises:
            RigError: a sensor cannot be set up; the fault stays.
        """
        for device in (self.imu, self.climate):
            device.close()
            device.open()
        self._begin_health()
        self.live.angle_deg = self.live.angle_seen_s = None
        self.opened_s = self.clock.time_s()
        self.doubtful_climates, self.last_run_reason = 0, None
        self.latched, self.homes_slowly = None, True

    def step_angle_deg(self) -> float:
        """Inclination by the step count, right only after homing."""
        return float(self.linkage.angle_deg(self.stepper.count))

    @property
    def lowering_rate_deg_s(self) -> float:
        """The rate that the board is lowered at."""
        return lowering_rate_deg_s(self.settings)

    def plan(self, to_angle_deg: float, rate_deg_s: float) -> Plan:
        """A move from where the board is to an inclination, within the settings' limits."""
        motion = self.settings.motion
        return plan_move(
            self.linkage,
            self.stepper.count,
            rate_deg_s,
            motion.acceleration_deg_s2,
            motion.ramp_jerk_deg_s3,
            to_angle_deg=to_angle_deg,
        )

    def enter(self, state: State) -> None:
        """Go to a state: into the file, onto the lamp, before everybody's eyes."""
        if self.recorder is not None:
            self.recorder.enter(state, self.clock.time_s())
        self.host.mark()
        self.live.state = state
        self.live.wants = ""
        self.lamp.show(state)

    def watch_angle(self) -> Task[None]:
        """Task: read the angle sensor without end, for the file and for the interlocks."""
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
            period_s = SAMPLE_PERIOD_S if self.stepper.moving else RESTING_PERIOD_S
            due = max(due + period_s, self.clock.time_s())
            yield At(due)

    def _take(self, batch: ImuBatch) -> None:
        recorder, captured = self.recorder, self._captured
        if recorder is not None:
            recorder.samples(batch.t_s, batch.dt_s, batch.counts, self.live.imu_temperature_c)
        if captured is not None:
            captured.extend(batch.counts)
        if self._batches is not None:
            self._batches.append(batch)
        if self.calibration is not None:
            self.live.angle_deg, self.live.cross_slope_deg = self.angles_deg(batch.counts)
        if self._health is not None:
            self._health.feed(batch.counts, self.live.angle_deg)
        self.live.angle_seen_s = batch.t_s + len(batch.counts) * batch.dt_s

    def watch_climate(self) -> Task[None]:
        """Task: read the climate without end."""
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
            # No sensor on the surface yet: the chip on the cradle stands in, marked as such.
            self.recorder.climate(
                self.clock.time_s(),
                reading,
                self.live.imu_temperature_c,
                None if self.live.imu_temperature_c is None else "imu",
            )

    @contextmanager
    def listening(self, counts: list[Counts]) -> Iterator[None]:
        """While this lasts, every sample is also appended to `counts`."""
        self._captured = counts
        try:
            yield
        finally:
            self._captured = None

    @contextmanager
    def listening_with_times(self, batches: list[ImuBatch]) -> Iterator[None]:
        """While this lasts, every batch is also appended to `batches`, with its times."""
        self._batches = batches
        try:
            yield
        finally:
            self._batches = None

    def angles_deg(self, counts: Sequence[Counts]) -> tuple[float, float]:
        """Inclination and cross slope from the mean of some counts, signed, in degrees.

        Raises:
            MachineFaultError: there are no counts.
        """
        if not counts:
            raise MachineFaultError(
                "imu_silent",
                "The angle sensor gave no sample.",
                "Check the sensor's cable and run `rig check`.",
            )
        if self.calibration is None:
            raise RuntimeError("without a calibration counts are no angle")
        mean = [sum(axis) / len(counts) for axis in zip(*counts, strict=True)]
        return slopes_deg(self.calibration, mean, self.live.imu_temperature_c)
