"""The opened rig: its devices, its motors, and the locks on their movement."""

from collections.abc import Callable
from types import TracebackType
from typing import Any, Self

import msgspec

from rig.calibration.home import HomeCheck
from rig.calibration.model import Calibration
from rig.clock import Clock
from rig.control.faults.table import BY_CAUSE
from rig.control.process.host import Host
from rig.control.process.lock import RigLock
from rig.control.progress_watch import ProgressWatch
from rig.control.senses import Senses
from rig.devices.bus import Bus
from rig.devices.climate import ClimateSensor
from rig.devices.imu import Imu
from rig.devices.inputs import Inputs
from rig.devices.lamp import StateLamp
from rig.devices.no_motor import NoMotor
from rig.devices.open_imu import make_imu
from rig.devices.stepper import Stepper
from rig.errors import Cause, MachineFaultError
from rig.motion.ramp import Plan, plan_move
from rig.runfile.model import State
from rig.settings.checks import lowering_rate_deg_s, quick_rate_deg_s
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings

CONTROL_SILENCE_S = 2.0
"""Longest time between signs of life of the control loop while pulses continue; a slow disk may
hold it up for a while."""


HELD_UP_S = 0.5
"""Longest suspension of the program after which anything missed would still show."""


class Machine(Senses):
    """All devices of one rig and their latest values.

    The constructor touches no hardware; `with machine:` opens the devices and closes them, the
    motor first.

    Args:
        clock: the clock of all tasks.
        settings: the rig's settings.
        open_pins: makes the pin factory of gpiozero.
        bus: the chips' bus.
        calibration: of the angle sensor; without one no angle is known and no run can be made.
        host: the computer.
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
        super().__init__(clock, settings, calibration)
        self.host = host or Host(clock)
        self.lock = lock
        self.bus = bus
        self.linkage = Kinematics(settings.linkage, settings.screw)
        self.events = clock.queue()
        self.opened_s = 0.0
        self.is_homed = False
        self.allow_overdue = False
        """Accept an overdue calibration; runs made with it are flagged."""
        self.home_check: HomeCheck | None = None
        """Latest check of the home reading with a level since the calibration, if any."""
        self.homes_slowly = False
        """The last series was cut off: the board's position is unknown."""
        self.latched: MachineFaultError | None = None
        """First fault since the last reset; while there is one, nothing moves."""
        self.last_run_reason: MachineFaultError | None = None
        """Reason why no other run may begin after the current one."""
        self.mismatch_since_s: float | None = None
        """Time since which sensor and steps differ."""
        self.cut_by: Cause | None = None
        """Cause for which the pulse loop ended the last move."""
        self.progress = ProgressWatch()
        self.on_beat: Callable[[], None] = lambda: None
        """Called at every sign of life of the control loop."""
        self.beats = 0
        """Signs of life of the control loop so far."""
        self.stops = 0
        """Stop requests handled by the control loop so far."""
        self.held_up_s: float | None = None
        """Duration of the last suspension of the whole process in mid-work, if any."""
        self.comes_next = ""
        """Next move of the board, between two runs of a series; empty after the last one."""
        self._beat_s = clock.time_s()
        self._open_pins = open_pins
        self.pin_factory: Any = None
        """gpiozero's pin factory; None while the machine is closed."""
        self._opened: list[Any] = []
        self.blade: Stepper | None = None
        """The blade's motor, count 0 at its park position; None without a blade."""

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
        self.inputs = Inputs(
            self.clock, factory, settings.pins, self.events, has_motor=self.has_motor
        )
        self.blade = self._make_blade(factory)
        self.stepper = self._make_stepper(factory)
        self.lamp = StateLamp(self.clock, factory, settings.pins)
        self.imu: Imu = make_imu(settings, self.bus, self.clock)
        self.climate = ClimateSensor(self.bus, self.clock, settings.bus.climate_address)
        motors: list[Any] = [self.stepper] if self.blade is None else [self.stepper, self.blade]
        for device in (*motors, self.lamp, self.inputs, self.bus, self.imu, self.climate):
            device.open()
            self._opened.append(device)
        self.begin_health()
        self.opened_s = self.clock.time_s()

    def close(self) -> None:
        """Switch the motors off, then close everything else; one failure does not keep the rest."""
        first: BaseException | None = None
        devices, self._opened, self.pin_factory = self._opened, [], None
        # The motors were opened right after the factory: close them first, the rest in reverse.
        rest = 3 if self.has_blade else 2
        for device in devices[1:rest] + devices[: rest - 1 : -1] + devices[:1]:
            try:
                device.close()
            except Exception as error:  # close every device, even if another one failed
                first = first or error
        if self.lock is not None:
            self.lock.close()
        if first is not None:
            raise first

    def beat(self) -> None:
        """Record a sign of life of the control loop; without one the pulses end."""
        self._beat_s = self.clock.time_s()
        self.beats += 1
        self.on_beat()

    def continued(self) -> None:
        """Handle the end of a suspension of the process; at rest nothing was missed."""
        held_up_s = self.clock.time_s() - self._beat_s
        if held_up_s > HELD_UP_S and self.live.state in BY_CAUSE["suspended"].states:
            self.held_up_s = held_up_s

    def _must_stop(self) -> bool:
        """Check before every pulse, by level, so that no lost edge can hide a stop."""
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
        if not self.has_motor:
            return self.live.state in ("raising", "sliding", "lowering")
        return self.stepper.moving or (self.blade is not None and self.blade.moving)

    @property
    def has_motor(self) -> bool:
        """Whether a motor raises the board; otherwise a person does."""
        return self.settings.motion.raised_by == "motor"

    def _make_stepper(self, factory: Any) -> Stepper:
        settings = self.settings
        if not self.has_motor:
            return NoMotor(self.clock, settings)
        return Stepper(
            self.clock,
            factory,
            settings.pins,
            settings.screw,
            late_pulse_ms=settings.interlocks.late_pulse_ms,
            must_stop=self._must_stop,
        )

    @property
    def has_blade(self) -> bool:
        """Whether a blade places the bag, so that nobody needs to stand by."""
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
        """Switch every driver off at once; no further pulse of a current move follows."""
        self.stepper.disable()
        if self.blade is not None:
            self.blade.disable()

    def latch(self, fault: MachineFaultError) -> None:
        """Keep the first fault and its cause, switch the drivers off and block all moves."""
        self.motors_off()
        self.is_homed = False
        self.latched = self.latched or fault

    def reset(self) -> None:
        """Clear the fault at a person's request and set the sensors up again.

        Raises:
            RigError: a sensor cannot be set up; the fault stays.
        """
        for device in (self.imu, self.climate):
            device.close()
            device.open()
        self.begin_health()
        self.live.angle_deg = self.live.angle_seen_s = None
        self.opened_s = self.clock.time_s()
        self.doubtful_climates, self.last_run_reason = 0, None
        self.latched, self.homes_slowly = None, True
        self.held_up_s = None

    def step_angle_deg(self) -> float:
        """Inclination by the step count, valid only after homing."""
        return float(self.linkage.angle_deg(self.stepper.count))

    @property
    def lowering_rate_deg_s(self) -> float:
        """Lowering rate of the board."""
        return lowering_rate_deg_s(self.settings)

    @property
    def quick_rate_deg_s(self) -> float:
        """Rate of a quick start."""
        return quick_rate_deg_s(self.settings)

    def plan(self, to_angle_deg: float, rate_deg_s: float) -> Plan:
        """Plan a move from the present position to an inclination, within the settings' limits."""
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
        """Enter a state: record it, and show it on the lamp and in the live values."""
        if self.recorder is not None:
            self.recorder.enter(state, self.clock.time_s())
        self.host.mark()
        self.live.state = state
        is_between = state == "parked" and bool(self.comes_next)
        self.live.wants = self.comes_next if is_between else ""
        self.live.pace = None
        # Steady green means that nothing will move; before the next homing that would be wrong.
        self.lamp.show("homing" if is_between and self.has_motor else state)
