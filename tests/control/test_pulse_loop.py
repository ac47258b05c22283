"""The loop over the pulses alone, without the control loop above it: a level that says stop."""

from collections.abc import Callable
from typing import Any, NamedTuple

import msgspec
import pytest
from gpiozero.pins.mock import MockFactory, MockPin

from rig.clock import At, Task, VirtualClock
from rig.control.blade.plan import plan_blade
from rig.devices.inputs import Inputs
from rig.devices.stepper import MoveResult, PulsePlan, Stepper
from rig.errors import MachineFaultError
from rig.motion.ramp import plan_move
from rig.settings.kinematics import Kinematics
from rig.settings.model import Interlocks, Pins, Screw, Settings
from tests.control.conftest import MakeBench
from tests.control.machine_bench import BLADE, PER_MM, Bench

PINS, SCREW = Pins(), Screw()


class StepPin(MockPin):
    """Tells of each rising edge."""

    on_rise: Callable[[], None]

    def _set_state(self, value: Any) -> None:
        super()._set_state(value)
        if value:
            self.on_rise()


@pytest.mark.parametrize("after", [1, 2, 777])
@pytest.mark.parametrize("phase", [0.0, 0.5, 1.0])
def test_not_one_step_edge_follows_the_level_of_the_emergency_stop(
    after: int, phase: float
) -> None:
    """The level changes right after an edge, half-way to the next, and right before it."""
    clock, factory = VirtualClock(), MockFactory()
    factory.ticks = clock.time_s
    plan = plan_move(Kinematics(Settings().linkage, SCREW), 0, 1.0, 4.0, 40.0, to_angle_deg=10.0)
    gap_s = float(plan.times_s[after] - plan.times_s[after - 1])
    edges_s: list[float] = []
    pressed_s: list[float] = []

    def press() -> Task[None]:
        yield At(clock.time_s() + phase * (gap_s - 2e-9) + 1e-9)
        factory.pin(PINS.emergency_stop).drive_high()
        pressed_s.append(clock.time_s())

    def on_rise() -> None:
        edges_s.append(clock.time_s())
        if len(edges_s) == after:
            clock.spawn(press(), "press")

    factory.pin(PINS.step, pin_class=StepPin).on_rise = on_rise
    with (
        Inputs(clock, factory, PINS, clock.queue()) as inputs,
        Stepper(
            clock, factory, PINS, SCREW, must_stop=lambda: inputs.emergency_stop_pressed
        ) as stepper,
    ):
        factory.pin(PINS.emergency_stop).drive_low()
        stepper.enable()
        result = clock.run(stepper.move(plan))
        assert edges_s[-1] < pressed_s[0] < edges_s[-1] + gap_s
        assert len(edges_s) == result.pulses == stepper.count == after
        assert result.ended_by == "must_stop"


def of_board(bench: Bench) -> tuple[Stepper, PulsePlan]:
    return bench.machine.stepper, bench.machine.plan(20.0, 1.0)


def of_blade(bench: Bench) -> tuple[Stepper, PulsePlan]:
    assert bench.machine.blade is not None
    return bench.machine.blade, plan_blade(bench.machine.settings, 0, 100 * PER_MM)


Axis = Callable[[Bench], tuple[Stepper, PulsePlan]]
both_axes = pytest.mark.parametrize("axis", [of_board, of_blade], ids=["board", "blade"])


class Moved(NamedTuple):
    """How a move went of which nothing but the pulses ran."""

    result: MoveResult
    last_s: float
    """Time of the last pulse since the begin."""


def move(
    bench: Bench, axis: Axis, act: Callable[[], Any] = lambda: None, *, beats: bool = True
) -> Moved:
    """Make the move, and do something after a second."""
    stepper, plan = axis(bench)
    clock, machine = bench.clock, bench.machine
    made = bench.pulses if stepper is machine.stepper else bench.blade_pulses

    def beat() -> Task[None]:
        while True:
            machine.beat()
            yield At(clock.time_s() + 0.5)

    def main() -> Task[MoveResult]:
        machine.beat()
        if beats:
            clock.spawn(beat(), "beat")
        clock.spawn(bench.after(1.0, act), "act")
        return (yield from stepper.move(plan))

    stepper.enable()
    began_s = clock.time_s()
    result = clock.run(main())
    assert result.pulses == len(made)
    return Moved(result, made[-1][0] - began_s)


@both_axes
def test_both_axes_look_at_the_emergency_stop_before_each_pulse(
    make_bench: MakeBench, axis: Axis
) -> None:
    bench = make_bench(BLADE)
    moved = move(bench, axis, lambda: bench.world.press("emergency_stop", True))
    assert (moved.result.ended_by, bench.machine.cut_by) == ("must_stop", "emergency_stop")
    assert moved.last_s <= 1.0


@both_axes
def test_both_axes_look_at_the_upper_switch(make_bench: MakeBench, axis: Axis) -> None:
    bench = make_bench(BLADE)
    moved = move(bench, axis, lambda: bench.drive("limit_upper", True))
    assert (moved.result.ended_by, bench.machine.cut_by) == ("must_stop", "limit_upper")
    assert moved.last_s <= 1.0


@both_axes
def test_both_axes_end_2_s_after_the_control_loops_last_sign_of_life(
    make_bench: MakeBench, axis: Axis
) -> None:
    bench = make_bench(BLADE)
    moved = move(bench, axis, beats=False)
    assert (moved.result.ended_by, bench.machine.cut_by) == ("must_stop", "control_silent")
    assert moved.last_s == pytest.approx(2.0, abs=0.02)


def test_the_most_urgent_reason_is_kept(make_bench: MakeBench) -> None:
    bench = make_bench(BLADE)

    def both() -> None:
        bench.drive("limit_upper", True)
        bench.world.press("emergency_stop", True)

    move(bench, of_board, both)
    assert bench.machine.cut_by == "emergency_stop"


@both_axes
def test_with_signs_of_life_and_free_switches_a_move_goes_to_its_end(
    make_bench: MakeBench, axis: Axis
) -> None:
    bench = make_bench(BLADE)
    moved = move(bench, axis, lambda: bench.drive("limit_lower", True))
    assert (moved.result.ended_by, bench.machine.cut_by) == ("plan", None)


@both_axes
@pytest.mark.parametrize(("late_s", "is_late"), [(0.0069, False), (0.0071, True)])
def test_both_axes_take_the_settings_bound_of_a_late_pulse(
    make_bench: MakeBench, axis: Axis, late_s: float, is_late: bool
) -> None:
    bench = make_bench(msgspec.structs.replace(BLADE, interlocks=Interlocks(late_pulse_ms=7.0)))
    made = bench.pulses if axis is of_board else bench.blade_pulses
    gap_s = float(axis(bench)[1].times_s[300] - axis(bench)[1].times_s[299])

    def busy() -> None:
        if len(made) == 300:
            bench.clock.advance_to(bench.clock.time_s() + gap_s + late_s)

    bench.on_pulse = busy
    if is_late:
        with pytest.raises(MachineFaultError, match=r"due 7\.1 ms ago"):
            move(bench, axis)
    else:
        assert move(bench, axis).result.ended_by == "plan"
