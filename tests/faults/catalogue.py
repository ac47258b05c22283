"""What can break: switches, wires, sensors, bus, motor, computer, disk."""

# ruff: noqa: SLF001 - faults are made in places that nothing public leads to
# fmt: off

import errno
from pathlib import Path
from typing import Any

from rig.clock import At, Task
from rig.control import host as host_module
from rig.control.host import THROTTLED
from rig.runfile.writer import OsFiles
from tests.faults.harness import Fault, Injected, failing_writes, hold, toggling

MOVES = ("homing", "raising", "sliding", "lowering")
STATES = ("homing", "placing", "dwelling", "raising", "sliding", "lowering")
ALL = ("parked", *STATES)
RESTING_READ_S = 0.2
"""While nothing moves, the angle sensor is read this often."""
HOST_S = 1.55
"""The computer is asked this often."""


def _sampler(case: Injected, sample: Any) -> None:
    """The chip measures something else from now on."""
    case.twin.imu._sample = sample


def _estop(case: Injected) -> None:
    case.twin.world.press("emergency_stop", True)


def _estop_glitch(case: Injected) -> Task[None]:
    case.twin.world.press("emergency_stop", True)
    yield At(case.machine.clock.time_s() + 0.003)
    case.twin.world.press("emergency_stop", False)


def _upper_glitch(case: Injected) -> Task[None]:
    case.pin("limit_upper").drive(True, case.machine.clock.time_s())
    yield At(case.machine.clock.time_s() + 0.003)
    case.pin("limit_upper").drive(False, case.machine.clock.time_s())


def _flicker(case: Injected) -> Task[None]:
    return toggling(case, "beam_1", 0.02)


def _unplug(address: str) -> Any:
    def inject(case: Injected) -> None:
        case.twin.bus.chips.pop(getattr(case.machine.settings.bus, address))

    return inject


def _stuck(address: str, byte: int) -> Any:
    def inject(case: Injected) -> None:
        case.twin.bus.stuck[getattr(case.machine.settings.bus, address)] = byte

    return inject


def _bus_errors(code: int, times: int) -> Any:
    return lambda case: case.twin.bus.fail(1, code, times)


def _frozen(case: Injected) -> None:
    sample = case.twin.imu._sample([case.machine.clock.time_s()])[0]
    _sampler(case, lambda times: [sample] * len(times))


def _saturated(case: Injected) -> None:
    before = case.twin.imu._sample
    _sampler(case, lambda times: [(2.5, y, z) for _, y, z in before(times)])


def _scaled(factor: float) -> Any:
    def inject(case: Injected) -> None:
        before = case.twin.imu._sample
        _sampler(
            case, lambda times: [(factor * x, factor * y, factor * z) for x, y, z in before(times)]
        )

    return inject


def _turned(case: Injected) -> None:
    """The sensor came off and hangs on its cable: each axis shows what another one did."""
    before = case.twin.imu._sample
    _sampler(case, lambda times: [(-y, z, -x) for x, y, z in before(times)])


def _other_range(case: Injected) -> None:
    """A disturbed transfer has set the chip to ±4 g."""
    registers = case.twin.imu._registers
    case.twin.imu.write(0x10, [registers[0x10] | 0x08], case.machine.clock.time_s())


def _reset_imu(case: Injected) -> None:
    case.twin.imu.reset(case.machine.clock.time_s())


def _reset_climate(case: Injected) -> None:
    case.twin.climate.reset(case.machine.clock.time_s())


def _humidity_at_end(case: Injected) -> None:
    case.twin.climate.raw = (540000, 330000, 65535)


def _not_measured(case: Injected) -> None:
    case.twin.climate.raw = (0x80000, 0x80000, 0x8000)


def _motor_dead(case: Injected) -> None:
    case.patch(case.twin.world.motor, "step", lambda now_s: False)


def _enable_wire(case: Injected) -> None:
    motor = case.twin.world.motor
    step = motor.step

    def without_current(now_s: float) -> bool:
        motor.is_enabled, was = False, motor.is_enabled
        moved = step(now_s)
        motor.is_enabled = was
        return moved

    case.patch(motor, "step", without_current)


def _wrong_way(case: Injected) -> None:
    motor = case.twin.world.motor
    step = motor.step

    def swapped(now_s: float) -> bool:
        motor.direction = -motor.direction
        moved = step(now_s)
        motor.direction = -motor.direction
        return moved

    case.patch(motor, "step", swapped)


def _loses_half(case: Injected) -> None:
    motor = case.twin.world.motor
    step = motor.step
    number = 0

    def every_other(now_s: float) -> bool:
        nonlocal number
        number += 1
        return step(now_s) if number % 2 else False

    case.patch(motor, "step", every_other)


def _cranked(case: Injected) -> Task[None]:
    """Two degrees' worth within half a second."""
    motor, clock = case.twin.world.motor, case.machine.clock
    for _ in range(25):
        motor.position += round((motor.position_at(4.0) - motor.position_at(2.0)) / 25)
        motor._times.append(clock.time_s())
        motor._places.append(motor.position)
        yield At(clock.time_s() + 0.02)


def _low_supply(case: Injected) -> None:
    file = case.folder / "root" / THROTTLED
    file.parent.mkdir(parents=True)
    file.write_text("50005\n", "ascii")
    case.machine.host.root = case.folder / "root"


def _clock_set(case: Injected) -> None:
    from datetime import timedelta

    case.machine.clock._utc += timedelta(hours=1)


def _disk_nearly_full(case: Injected) -> None:
    case.patch(host_module, "free_mb", lambda folder: 10.0)


def _writes_fail(code: int) -> Any:
    return lambda case: case.patch(OsFiles, "write", failing_writes(code))


def _sync_fails(case: Injected) -> None:
    def sync(self: OsFiles, descriptor: int) -> None:
        raise OSError(errno.EIO, "injected")

    case.patch(OsFiles, "sync", sync)


def _control_hangs(case: Injected) -> None:
    case.machine.beat = lambda: None


def _late(case: Injected) -> None:
    """The computer does something else for 60 ms while a pulse is due."""
    clock, pin = case.machine.clock, case.pin("step")
    step = pin._on_step
    is_done = False

    def slow() -> None:
        nonlocal is_done
        step()
        if not is_done:
            is_done = True
            clock.advance_to(clock.time_s() + 0.06)

    pin._on_step = slow


def _pulses_hang(case: Injected) -> None:
    """The pulse task makes no pulses and does not end either."""
    clock, stepper = case.machine.clock, case.machine.stepper

    def hang(plan: Any) -> Task[None]:
        while True:
            yield At(clock.time_s() + 1.0)

    stepper.move = hang


def _edge_lost(case: Injected) -> None:
    def broken(item: Any) -> None:
        raise MemoryError

    put = case.machine.inputs._events
    case.machine.inputs._events = type("Queue", (), {"put": staticmethod(broken)})()
    case.pin("stop_button").drive(False, case.machine.clock.time_s())
    case.pin("stop_button").drive(True, case.machine.clock.time_s())
    case.machine.inputs._events = put


def _other_calibration(case: Injected) -> None:
    import msgspec

    calibration = case.machine.calibration
    case.machine.calibration = msgspec.structs.replace(
        calibration, home_angle_deg=calibration.home_angle_deg + 0.8
    )


def _causes(*names: str) -> frozenset[str]:
    return frozenset(names)


BUS = _causes("bus")
IMU = "imu_address"
AIR = "climate_address"

FAULTS: tuple[Fault, ...] = (
    Fault("emergency stop pressed", _estop, ALL, _causes("emergency_stop")),
    Fault("emergency stop's wire makes contact for 3 ms only", _estop_glitch, STATES,
          _causes("emergency_stop")),
    Fault("upper switch's wire broken", lambda c: hold(c, "limit_upper", True), MOVES,
          _causes("limit_upper")),
    Fault("upper switch opens for 3 ms", _upper_glitch, MOVES, _causes("limit_upper")),
    Fault("lower switch never opens", lambda c: hold(c, "limit_lower", False), ("parked",),
          _causes("limit_lower_missing", "no_progress"), 5.0),
    Fault("lower switch's wire broken", lambda c: hold(c, "limit_lower", True),
          ("parked", "homing"), _causes("limit_lower_stuck"), 2.2, from_motion=True),
    Fault("lower switch's wire breaks at work", lambda c: hold(c, "limit_lower", True),
          ("dwelling", "raising", "sliding", "lowering"), _causes("limit_lower_stuck"), 1.5),
    Fault("beam's wire broken", lambda c: hold(c, "beam_1", True), ("parked", "homing", "dwelling"),
          _causes("beam_broken_before_raise"), 8.0, start_now=True),
    Fault("beam's wire breaks in the raise", lambda c: hold(c, "beam_1", True), ("raising",),
          _causes(), ending="no result"),
    Fault("beam's receiver is dead", lambda c: hold(c, "beam_1", False), ("dwelling", "raising"),
          _causes(), ending="no result"),
    Fault("beam flickers", _flicker, ("dwelling", "raising", "sliding"), _causes("beam_flicker"),
          0.3),
    Fault("angle sensor unplugged", _unplug(IMU), ALL, BUS | _causes("imu_silent"),
          RESTING_READ_S + 0.05),
    Fault("angle sensor's registers all read 0xFF", _stuck(IMU, 0xFF), ALL,
          _causes("imu_reset", "imu_silent", "imu_frozen", "imu_saturated", "imu_absurd"), 0.75),
    Fault("angle sensor's registers all read 0x00", _stuck(IMU, 0x00), ALL,
          _causes("imu_reset", "imu_silent", "imu_frozen"), 0.75),
    Fault("angle sensor frozen", _frozen, ALL, _causes("imu_frozen"), 0.06 + RESTING_READ_S),
    Fault("angle sensor saturated", _saturated, ALL, _causes("imu_saturated", "imu_absurd"),
          0.1 + RESTING_READ_S),
    Fault("angle sensor shows half of gravity", _scaled(0.5), ALL,
          _causes("imu_absurd"), 0.25 + RESTING_READ_S),
    Fault("angle sensor came off its screws", _turned, ALL,
          _causes("imu_absurd", "angle_mismatch"), 0.25 + RESTING_READ_S),
    Fault("angle sensor reset to its defaults", _reset_imu, ALL, _causes("imu_reset", "imu_silent"),
          0.75),
    Fault("angle sensor's range changed by a disturbance", _other_range, ALL,
          _causes("imu_absurd", "imu_reset"), 0.25 + RESTING_READ_S),
    Fault("bus: two transfers fail", _bus_errors(errno.EREMOTEIO, 2), STATES, _causes(),
          ending="rides through"),
    Fault("bus: every transfer fails", _bus_errors(errno.EIO, 100_000), ALL, BUS,
          RESTING_READ_S + 0.05),
    Fault("bus: every transfer times out", _bus_errors(errno.ETIMEDOUT, 100_000), ALL, BUS,
          RESTING_READ_S + 0.05),
    Fault("bus: adapter pulled out", _bus_errors(errno.ENODEV, 100_000), ALL, BUS,
          RESTING_READ_S + 0.05),
    Fault("climate sensor unplugged", _unplug(AIR), ALL, BUS, 2.1),
    Fault("climate sensor's registers all read 0xFF", _stuck(AIR, 0xFF), ALL,
          _causes("climate_silent", "climate_doubtful", "climate_blank"), 2.1, "last run"),
    Fault("climate sensor loses power for a moment", _reset_climate, STATES, _causes(),
          ending="rides through"),
    Fault("climate sensor's humidity at the end of its range", _humidity_at_end,
          ("homing", "dwelling"), _causes("climate_doubtful"), ending="last run"),
    Fault("climate sensor measures nothing", _not_measured, ("homing", "dwelling"),
          _causes("climate_doubtful"), ending="last run"),
    Fault("motor without current", _motor_dead, ("parked", "raising", "lowering"),
          _causes("no_progress", "angle_mismatch", "limit_lower_missing", "limit_lower_stuck"),
          1.5, from_motion=True),
    Fault("enable wire broken", _enable_wire, ("parked", "raising", "lowering"),
          _causes("no_progress", "angle_mismatch", "limit_lower_missing", "limit_lower_stuck"),
          1.5, from_motion=True),
    Fault("motor turns the wrong way", _wrong_way, ("parked", "raising", "lowering"),
          _causes("wrong_direction", "angle_mismatch", "limit_lower_stuck"), 1.3, from_motion=True),
    Fault("motor loses every other step", _loses_half, ("raising", "lowering"),
          _causes("angle_mismatch", "no_progress"), 1.7),
    Fault("board cranked by hand", _cranked, ("placing", "dwelling", "raising", "lowering"),
          _causes("angle_mismatch", "no_progress"), RESTING_READ_S + 0.8),
    Fault("computer's supply too low", _low_supply, ALL, _causes("low_supply"), HOST_S),
    Fault("computer's clock set by an hour in a move", _clock_set, MOVES, _causes("clock_jump"),
          HOST_S),
    Fault("computer's clock set by an hour at rest", _clock_set, ("parked", "dwelling"), _causes(),
          ending="rides through"),
    Fault("disk nearly full", _disk_nearly_full, STATES, _causes("disk_nearly_full"),
          ending="last run"),
    Fault("disk full", _writes_fail(errno.ENOSPC), STATES, _causes("disk"), 0.3,
          file_may_end_early=True),
    Fault("disk read-only", _writes_fail(errno.EROFS), STATES, _causes("disk"), 0.3,
          file_may_end_early=True),
    Fault("disk does not take what it was given", _sync_fails, ("homing", "placing", "dwelling"),
          _causes("disk"), 4.0, file_may_end_early=True),
    Fault("control loop hangs", _control_hangs, ("raising", "lowering"), _causes("control_silent"),
          2.0),
    Fault("computer busy elsewhere for 60 ms", _late, ("homing", "raising", "lowering"),
          _causes("late_pulse"), 0.06),
    Fault("pulses hang", _pulses_hang, ("parked", "dwelling"), _causes("over_time"), 60.0),
    Fault("an edge of an input is lost", _edge_lost, STATES, _causes("edges_lost"), 0.0),
    Fault("frame or floor moved since the calibration", _other_calibration, ("parked",),
          _causes("home_mismatch"), 8.0),
)
"""Every fault with the states in which it can happen."""

HERE = Path(__file__).parent
