"""How things break: switches, wires, sensors, bus, motors, computer, disk."""

# ruff: noqa: SLF001 - faults are made in places that nothing public leads to

import errno
from typing import Any

from rig.clock import At, Task
from rig.control.process import host as host_module
from rig.control.process.host import THROTTLED
from rig.runfile.writer import OsFiles
from tests.faults.harness import Injected, failing_writes, hold, toggling


def sampler(case: Injected, sample: Any) -> None:
    """The chip measures something else from now on."""
    case.twin.imu._sample = sample


def estop(case: Injected) -> None:
    case.twin.world.press("emergency_stop", True)


def estop_glitch(case: Injected) -> Task[None]:
    case.twin.world.press("emergency_stop", True)
    yield At(case.machine.clock.time_s() + 0.003)
    case.twin.world.press("emergency_stop", False)


def upper_glitch(case: Injected) -> Task[None]:
    case.pin("limit_upper").drive(True, case.machine.clock.time_s())
    yield At(case.machine.clock.time_s() + 0.003)
    case.pin("limit_upper").drive(False, case.machine.clock.time_s())


def no_lower_end(case: Injected) -> None:
    hold(case, "limit_lower", False)
    case.twin.world._bottom = float("-inf")
    case.twin.world._look(case.machine.clock.time_s())


def flicker(case: Injected) -> Task[None]:
    return toggling(case, "beam_1", 0.02)


def unplug(address: str) -> Any:
    def inject(case: Injected) -> None:
        case.twin.bus.chips.pop(getattr(case.machine.settings.bus, address))

    return inject


def stuck(address: str, byte: int) -> Any:
    def inject(case: Injected) -> None:
        case.twin.bus.stuck[getattr(case.machine.settings.bus, address)] = byte

    return inject


def bus_errors(code: int, times: int) -> Any:
    return lambda case: case.twin.bus.fail(1, code, times)


def frozen(case: Injected) -> None:
    sample = case.twin.imu._sample([case.machine.clock.time_s()])[0]
    sampler(case, lambda times: [sample] * len(times))


def saturated(case: Injected) -> None:
    before = case.twin.imu._sample
    sampler(case, lambda times: [(2.5, y, z) for _, y, z in before(times)])


def scaled(factor: float) -> Any:
    def inject(case: Injected) -> None:
        before = case.twin.imu._sample
        sampler(
            case, lambda times: [(factor * x, factor * y, factor * z) for x, y, z in before(times)]
        )

    return inject


def turned(case: Injected) -> None:
    """The sensor came off and hangs on its cable: each axis shows what another one did."""
    before = case.twin.imu._sample
    sampler(case, lambda times: [(-y, z, -x) for x, y, z in before(times)])


def other_range(case: Injected) -> None:
    """A disturbed transfer has set the chip to ±4 g."""
    registers = case.twin.imu._registers
    case.twin.imu.write(0x10, [registers[0x10] | 0x08], case.machine.clock.time_s())


def reset_imu(case: Injected) -> None:
    case.twin.imu.reset(case.machine.clock.time_s())


def reset_climate(case: Injected) -> None:
    case.twin.climate.reset(case.machine.clock.time_s())


def humidity_at_end(case: Injected) -> None:
    case.twin.climate.raw = (540000, 330000, 65535)


def not_measured(case: Injected) -> None:
    case.twin.climate.raw = (0x80000, 0x80000, 0x8000)


def motor_dead(case: Injected) -> None:
    case.patch(case.twin.world.motor, "step", lambda now_s: False)


def enable_wire(case: Injected) -> None:
    motor = case.twin.world.motor
    step = motor.step

    def without_current(now_s: float) -> bool:
        motor.is_enabled, was = False, motor.is_enabled
        moved = step(now_s)
        motor.is_enabled = was
        return moved

    case.patch(motor, "step", without_current)


def wrong_way(case: Injected) -> None:
    motor = case.twin.world.motor
    step = motor.step

    def swapped(now_s: float) -> bool:
        motor.direction = -motor.direction
        moved = step(now_s)
        motor.direction = -motor.direction
        return moved

    case.patch(motor, "step", swapped)


def loses_half(case: Injected) -> None:
    motor = case.twin.world.motor
    step = motor.step
    number = 0

    def every_other(now_s: float) -> bool:
        nonlocal number
        number += 1
        return step(now_s) if number % 2 else False

    case.patch(motor, "step", every_other)


def cranked(case: Injected) -> Task[None]:
    """Two degrees' worth within half a second."""
    motor, clock = case.twin.world.motor, case.machine.clock
    for _ in range(25):
        motor.position += round((motor.position_at(4.0) - motor.position_at(2.0)) / 25)
        motor._times.append(clock.time_s())
        motor._places.append(motor.position)
        yield At(clock.time_s() + 0.02)


def low_supply(case: Injected) -> None:
    file = case.folder / "root" / THROTTLED
    file.parent.mkdir(parents=True)
    file.write_text("50005\n", "ascii")
    case.machine.host.root = case.folder / "root"


def clock_set(case: Injected) -> None:
    from datetime import timedelta

    case.machine.clock._utc += timedelta(hours=1)


def disk_nearly_full(case: Injected) -> None:
    case.patch(host_module, "free_mb", lambda folder: 10.0)


def writes_fail(code: int) -> Any:
    return lambda case: case.patch(OsFiles, "write", failing_writes(code))


def sync_fails(case: Injected) -> None:
    def sync(self: OsFiles, descriptor: int) -> None:
        raise OSError(errno.EIO, "injected")

    case.patch(OsFiles, "sync", sync)


def control_hangs(case: Injected) -> None:
    case.machine.beat = lambda: None


def late(case: Injected) -> None:
    """The computer does something else for 60 ms while a pulse is due."""
    _late(case, "step")


def late_blade(case: Injected) -> None:
    """The same, while a pulse of the blade is due."""
    _late(case, "blade_step")


def _late(case: Injected, name: str) -> None:
    clock, pin = case.machine.clock, case.pin(name)
    step = pin._on_step
    is_done = False

    def slow() -> None:
        nonlocal is_done
        step()
        if not is_done:
            is_done = True
            clock.advance_to(clock.time_s() + 0.06)

    pin._on_step = slow


def pulses_hang(case: Injected) -> None:
    """The pulse task makes no pulses and does not end either."""
    _hang(case, case.machine.stepper)


def blade_pulses_hang(case: Injected) -> None:
    """The same of the blade."""
    _hang(case, case.machine.blade)


def _hang(case: Injected, stepper: Any) -> None:
    clock = case.machine.clock

    def hang(plan: Any) -> Task[None]:
        while True:
            yield At(clock.time_s() + 1.0)

    stepper.move = hang


def edge_lost(case: Injected) -> None:
    def broken(item: Any) -> None:
        raise MemoryError

    put = case.machine.inputs._events
    case.machine.inputs._events = type("Queue", (), {"put": staticmethod(broken)})()
    case.pin("stop_button").drive(False, case.machine.clock.time_s())
    case.pin("stop_button").drive(True, case.machine.clock.time_s())
    case.machine.inputs._events = put


def other_calibration(case: Injected) -> None:
    import msgspec

    calibration = case.machine.calibration
    case.machine.calibration = msgspec.structs.replace(
        calibration, home_angle_deg=calibration.home_angle_deg + 0.8
    )


def nothing(case: Injected) -> None:
    """The rig itself is so."""


def blade_step_wire(case: Injected) -> None:
    """No pulse gets to the blade's motor, as when something holds it fast."""
    case.pin("blade_step")._on_step = case.note_pulse


def blade_enable_wire(case: Injected) -> None:
    """The driver's own resistor pulls the broken line low."""
    pin = case.pin("blade_enable")
    case.twin.world.on_output(pin.gpio, False)
    pin._set_state = lambda level: setattr(pin, "_state", bool(level))


def blade_direction_wire(case: Injected) -> None:
    """The driver keeps the direction that it has."""
    pin = case.pin("blade_direction")
    pin._set_state = lambda level: setattr(pin, "_state", bool(level))


def blade_loses_half(case: Injected) -> None:
    pin = case.pin("blade_step")
    step, number = pin._on_step, 0

    def every_other() -> None:
        nonlocal number
        number += 1
        (step if number % 2 else case.note_pulse)()

    pin._on_step = every_other


def blade_slips(millimetres: float) -> Any:
    """The belt jumps some teeth: so many steps are lost, no more."""

    def inject(case: Injected) -> None:
        pin = case.pin("blade_step")
        step, blade = pin._on_step, case.machine.settings.blade
        left = round(millimetres * blade.full_steps_per_turn * blade.microsteps / blade.lead_mm)

        def after_that() -> None:
            nonlocal left
            left -= 1
            (step if left < 0 else case.note_pulse)()

        pin._on_step = after_that

    return inject


def park_glitch(case: Injected) -> Task[None]:
    case.pin("blade_park").drive(True, case.machine.clock.time_s())
    yield At(case.machine.clock.time_s() + 0.003)
    case.pin("blade_park").drive(False, case.machine.clock.time_s())


def bag_taken(case: Injected) -> None:
    """Somebody has taken the bag, or it fell off."""
    case.twin.world.pusher._is_gone = True
