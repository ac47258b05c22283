import gc
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import pytest
from gpiozero.pins.mock import MockFactory, MockPin
from numpy.typing import NDArray

from rig.clock import At, Clock, RealClock, Task, VirtualClock
from rig.devices.stepper import (
    BRAKE_NOTICE_S,
    CATCH_UP,
    LATE_S,
    SET_UP_S,
    MoveResult,
    PulsePlan,
    Stepper,
)
from rig.errors import MachineFaultError
from rig.motion.ramp import plan_move
from rig.settings.kinematics import Kinematics
from rig.settings.model import Pins, Screw, Settings

PINS, SCREW = Pins(), Screw()


class LinePin(MockPin):
    """Notes each change of its level with the clock's time; an output begins low, as on lgpio."""

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        self.factory.log.append((self.factory.clock.time_s(), self._number, value))
        if value == "output":
            self._change_state(False)

    def _set_state(self, value: bool) -> None:
        super()._set_state(value)
        self.factory.log.append((self.factory.clock.time_s(), self._number, bool(value)))
        if value and self._number == PINS.step:
            self.factory.after_pulse()


class LineFactory(MockFactory):
    """Makes such pins."""

    def __init__(self, clock: Clock) -> None:
        super().__init__(pin_class=LinePin)
        self.clock = clock
        self.log: list[tuple[float, int, bool | str]] = []
        self.after_pulse: Callable[[], None] = lambda: None

    def pulses(self) -> NDArray[np.float64]:
        """Times of the rising edges of the step line."""
        return np.array(
            [t for t, number, level in self.log if number == PINS.step and level is True]
        )

    def level(self, number: int) -> bool:
        """Present level of a line."""
        return bool(self.pin(number).state)


@dataclass
class Plan:
    """Evenly spaced pulses; a stop halves the rate and makes three more."""

    n: int
    gap_s: float = 0.002
    direction: int = 1
    asked: list[int] = field(default_factory=list)

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Time of each pulse."""
        return self.gap_s * np.arange(1, self.n + 1, dtype=np.float64)

    def brake(self, index: int) -> NDArray[np.float64]:
        """The three slow pulses."""
        self.asked.append(index)
        return float(self.times_s[index - 1]) + 2 * self.gap_s * np.arange(1, 4, dtype=np.float64)


@dataclass
class Bench:
    """A stepper on a virtual clock."""

    clock: VirtualClock
    factory: LineFactory
    stepper: Stepper

    def run(self, plan: PulsePlan, *beside: Task[None]) -> MoveResult:
        """Make a move, with other tasks beside it."""

        def main() -> Task[MoveResult]:
            for task in beside:
                self.clock.spawn(task, "beside")
            return (yield from self.stepper.move(plan))

        return self.clock.run(main())

    def after_s(self, seconds: float, what: Callable[[], Any]) -> Task[None]:
        """A task that does something after a while."""
        yield At(self.clock.time_s() + seconds)
        what()


MakeBench = Callable[..., Bench]


@pytest.fixture
def make_bench() -> Iterator[MakeBench]:
    with ExitStack() as opened:

        def make(pins: Pins = PINS, **keywords: Any) -> Bench:
            clock = VirtualClock(100.0)
            factory = LineFactory(clock)
            stepper = opened.enter_context(Stepper(clock, factory, pins, SCREW, **keywords))
            stepper.enable()
            return Bench(clock, factory, stepper)

        yield make


@pytest.fixture
def bench(make_bench: MakeBench) -> Bench:
    return make_bench()


def test_each_pulse_comes_at_its_time(bench: Bench) -> None:
    plan = Plan(50)
    start = bench.clock.time_s() + SET_UP_S
    result = bench.run(plan)
    assert result == MoveResult(50, 0, 0.0, "plan")
    np.testing.assert_allclose(bench.factory.pulses(), start + plan.times_s, atol=1e-12)
    assert bench.stepper.count == 50
    assert bench.stepper.latest == (bench.factory.pulses()[-1], 50)
    assert not bench.factory.level(PINS.step)
    assert not bench.stepper.moving


def test_the_count_follows_the_direction_and_can_be_set(bench: Bench) -> None:
    bench.stepper.count = 1000
    bench.run(Plan(30, direction=-1))
    bench.run(Plan(10))
    assert bench.stepper.count == 980


@pytest.mark.parametrize("raises_high", [True, False])
@pytest.mark.parametrize("direction", [1, -1])
def test_the_direction_line_is_set_before_the_first_pulse(
    make_bench: MakeBench, raises_high: bool, direction: int
) -> None:
    bench = make_bench(Pins(direction_raises_high=raises_high))
    bench.factory.log.clear()
    bench.run(Plan(3, gap_s=0.001, direction=direction))
    at, number, level = bench.factory.log[0]
    assert (number, level) == (PINS.direction, (direction > 0) == raises_high)
    assert bench.factory.pulses()[0] - at >= SET_UP_S


def test_constructing_touches_no_pin() -> None:
    factory = LineFactory(VirtualClock())
    stepper = Stepper(VirtualClock(), factory, PINS, SCREW)
    stepper.close()
    stepper.disable()
    assert factory.log == []
    with pytest.raises(RuntimeError, match="not open"):
        stepper.enable()


def test_the_driver_is_off_from_opening_on_and_off_first_at_closing() -> None:
    clock = VirtualClock()
    factory = LineFactory(clock)
    with Stepper(clock, factory, PINS, SCREW) as stepper:
        assert next(number for _, number, what in factory.log if what == "output") == PINS.enable
        assert not any(level is True for _, _, level in factory.log)
        assert not stepper.enabled
        before = clock.time_s()
        stepper.enable()
        assert stepper.enabled
        assert factory.level(PINS.enable)
        assert clock.time_s() > before  # it waits until the driver holds
        factory.log.clear()
    assert factory.log[0][1:] == (PINS.enable, False)
    assert {number for _, number, what in factory.log if what == "input"} == {
        PINS.enable,
        PINS.direction,
        PINS.step,
    }
    assert not stepper.enabled


def test_a_pin_that_cannot_be_claimed_leaves_none_claimed() -> None:
    clock = VirtualClock()
    factory = LineFactory(clock)

    def refuse(pin: LinePin, value: str) -> None:
        if pin.info.name == f"GPIO{PINS.step}" and value == "output":
            raise OSError(16, "GPIO busy")
        MockPin._set_function(pin, value)  # noqa: SLF001 - the mock pin's own hook

    factory.pin_class = type("Refusing", (LinePin,), {"_set_function": refuse})
    stepper = Stepper(clock, factory, PINS, SCREW)
    with pytest.raises(OSError, match="busy"):
        stepper.open()
    assert [factory.pin(n).function for n in (PINS.enable, PINS.direction)] == ["input", "input"]


def test_no_pulse_follows_once_the_level_says_stop(make_bench: MakeBench) -> None:
    stop_at = 100.5
    made: list[Bench] = []
    made += [make_bench(must_stop=lambda: made[0].clock.time_s() >= stop_at)]
    (bench,) = made
    result = bench.run(Plan(1000))
    assert result.ended_by == "must_stop"
    pulses = bench.factory.pulses()
    assert pulses[-1] < stop_at
    assert stop_at - pulses[-1] < 2 * 0.002
    assert result.pulses == pulses.size == bench.stepper.count


@pytest.mark.parametrize("how", ["cut", "disable", "close"])
def test_no_pulse_follows_a_cut(bench: Bench, how: str) -> None:
    stop = {
        "cut": lambda: bench.stepper.request_stop("cut"),
        "disable": bench.stepper.disable,
        "close": bench.stepper.close,
    }[how]
    asked_at = bench.clock.time_s() + 0.1
    result = bench.run(Plan(1000), bench.after_s(0.1, stop))
    assert result.ended_by == "cut"
    assert bench.factory.pulses()[-1] <= asked_at
    assert result.pulses == bench.factory.pulses().size == bench.stepper.count > 30
    assert bench.stepper.enabled == (how == "cut")


def test_a_brake_goes_over_into_the_tail_of_the_plan(bench: Bench) -> None:
    plan = Plan(1000)
    start = bench.clock.time_s()
    stop = lambda: bench.stepper.request_stop("brake")  # noqa: E731
    result = bench.run(plan, bench.after_s(0.1, stop), bench.after_s(0.11, stop))
    assert result.ended_by == "brake"
    (begin,) = plan.asked  # the second request changes nothing
    assert result.pulses == begin + 3 == bench.stepper.count
    gaps = np.diff(bench.factory.pulses())
    np.testing.assert_allclose(gaps, [0.002] * (begin - 1) + [0.004] * 3, atol=1e-9)
    braking_from = bench.factory.pulses()[begin - 1]
    assert braking_from - (start + 0.1) <= BRAKE_NOTICE_S + 2 * plan.gap_s


def test_a_brake_asked_for_when_it_is_too_late_lets_the_plan_end(bench: Bench) -> None:
    plan = Plan(100)
    stop = lambda: bench.stepper.request_stop("brake")  # noqa: E731
    assert bench.run(plan, bench.after_s(0.195, stop)) == MoveResult(100, 0, 0.0, "plan")
    assert plan.asked == []
    stop()  # and with no move it does nothing
    assert bench.run(Plan(10)).ended_by == "plan"


def test_a_tail_that_comes_too_late_is_worked_out_again(bench: Bench) -> None:
    """The thread that asks was held up for longer than the notice."""
    plan = Plan(1000)
    tail = plan.brake

    def slow(index: int) -> NDArray[np.float64]:
        if not plan.asked:
            bench.clock.pause_s(0.05)
        return tail(index)

    plan.brake = slow  # type: ignore[method-assign]
    result = bench.run(plan, bench.after_s(0.1, lambda: bench.stepper.request_stop("brake")))
    first, second = plan.asked
    assert second > first
    assert result == MoveResult(second + 3, 0, 0.0, "brake")
    assert np.diff(bench.factory.pulses()).max() == pytest.approx(0.004)


def hold_up(bench: Bench, at: int, seconds: float) -> None:
    """Let one pulse take longer, as when another program has the processor."""
    made = [0]

    def after_pulse() -> None:
        made[0] += 1
        if made[0] == at:
            bench.clock.pause_s(seconds)

    bench.factory.after_pulse = after_pulse


def test_late_pulses_are_counted_spread_out_and_caught_up(bench: Bench) -> None:
    hold_up(bench, at=20, seconds=0.0102)
    plan = Plan(60)
    start = bench.clock.time_s() + SET_UP_S
    result = bench.run(plan)
    pulses = bench.factory.pulses()
    lateness = pulses - (start + plan.times_s)
    assert (result.pulses, result.ended_by) == (60, "plan")
    assert result.late == np.count_nonzero(lateness > LATE_S) > 5
    assert result.worst_late_us == pytest.approx(lateness.max() * 1e6)
    assert lateness.max() == pytest.approx(0.0102 - 0.002)
    assert np.diff(pulses).min() >= plan.gap_s * CATCH_UP - 1e-9
    np.testing.assert_allclose(lateness[-10:], 0, atol=1e-9)
    assert bench.stepper.take_worst_late_us() == pytest.approx(result.worst_late_us)
    assert bench.stepper.take_worst_late_us() == 0


def test_pulses_never_come_closer_than_the_shortest_gap(bench: Bench) -> None:
    bench.run(Plan(50, gap_s=1e-4))
    gaps = np.diff(bench.factory.pulses())
    np.testing.assert_allclose(gaps, SCREW.min_pulse_gap_us * 1e-6, atol=1e-9)


def test_a_pulse_that_is_too_late_stops_the_move_and_keeps_the_count(
    make_bench: MakeBench,
) -> None:
    bench = make_bench(late_pulse_ms=5.0)
    hold_up(bench, at=20, seconds=0.0072)
    with pytest.raises(MachineFaultError, match=r"5\.2 ms ago \(allowed: 5 ms\)") as caught:
        bench.run(Plan(60))
    assert caught.value.cause == "late_pulse"
    assert bench.stepper.count == bench.factory.pulses().size == 20
    assert not bench.stepper.moving
    assert gc.isenabled()


def test_a_cancelled_move_keeps_the_count(bench: Bench) -> None:
    def main() -> Task[None]:
        handle = bench.clock.spawn(bench.stepper.move(Plan(1000)), "move")
        yield At(bench.clock.time_s() + 0.1)
        handle.cancel()
        yield from handle.join()

    bench.clock.run(main())
    assert bench.stepper.count == bench.factory.pulses().size == 49
    assert not bench.stepper.moving


def test_a_move_needs_an_enabled_driver_and_no_other_move(bench: Bench) -> None:
    errors: list[RuntimeError] = []

    def meddle() -> None:
        assert bench.stepper.moving
        with pytest.raises(RuntimeError, match="no other move"):
            next(bench.stepper.move(Plan(1)))
        with pytest.raises(RuntimeError, match="during a move") as caught:
            bench.stepper.count = 0
        errors.append(caught.value)

    bench.run(Plan(50), bench.after_s(0.05, meddle))
    assert len(errors) == 1
    bench.stepper.disable()
    with pytest.raises(RuntimeError, match="enabled driver"):
        bench.run(Plan(1))


def test_a_plan_without_pulses_ends_at_once(bench: Bench) -> None:
    assert bench.run(Plan(0)) == MoveResult(0, 0, 0.0, "plan")


def test_the_collector_rests_during_a_move(bench: Bench) -> None:
    seen: list[bool] = []
    bench.run(Plan(50), bench.after_s(0.05, lambda: seen.append(gc.isenabled())))
    assert seen == [False]
    assert gc.isenabled()


def test_a_raise_stops_within_the_angle_that_is_stated(bench: Bench) -> None:
    linkage = Kinematics(Settings().linkage, SCREW)
    plan = plan_move(linkage, 0, 1.0, 4.0, 40.0, to_angle_deg=45.0)
    asked: list[float] = []

    def stop() -> None:
        asked.append(linkage.angle_deg(float(bench.stepper.count)))
        bench.stepper.request_stop("brake")

    result = bench.run(plan, bench.after_s(12.0, stop))
    assert (result.ended_by, result.pulses) == ("brake", bench.stepper.count)
    turned = linkage.angle_deg(float(bench.stepper.count)) - asked[0]
    pulse = linkage.deg_per_pulse(12.0)
    notice = 1.0 * BRAKE_NOTICE_S
    assert 0.175 <= turned <= plan.brake_angle_deg + notice + 2 * pulse


class LightPin(MockPin):
    """A pin that only remembers its level."""

    def _change_state(self, value: bool) -> bool:
        self._state = value
        return False


@pytest.mark.timing
def test_a_pulse_costs_under_6_us_of_python() -> None:
    """Processor time, the best of three; 2,000 pulses/s then take about 1 % of a core."""
    clock = VirtualClock()
    with Stepper(clock, MockFactory(pin_class=LightPin), PINS, SCREW) as stepper:
        stepper.enable()
        spent = []
        for _ in range(3):
            start = time.process_time()
            clock.run(stepper.move(Plan(10_000, gap_s=0.0005)))
            spent.append(time.process_time() - start)
    assert min(spent) / 10_000 < 6e-6


def test_on_the_real_clock_other_threads_see_time_and_count_as_one_pair() -> None:
    clock = RealClock()
    factory = LineFactory(clock)
    seen: list[tuple[float, int]] = []
    plan = Plan(150)
    interval = sys.getswitchinterval()

    def watcher() -> Task[None]:
        while stepper.count < 140:
            seen.append(stepper.latest)
            yield At(clock.time_s() + 0.003)

    def main() -> Task[MoveResult]:
        clock.spawn(watcher(), "watcher")
        return (yield from stepper.move(plan))

    with Stepper(clock, factory, PINS, SCREW, late_pulse_ms=60_000.0) as stepper:
        stepper.enable()
        result = clock.run(main())
    assert (result.pulses, result.ended_by) == (150, "plan")
    pulses = factory.pulses()
    assert pulses.size == 150
    assert np.diff(pulses).min() >= SCREW.min_pulse_gap_us * 1e-6
    pairs = {pair for pair in seen if pair[1] > 0}
    assert pairs
    for t, count in pairs:
        # The time was taken between the edge before and its own.
        assert (pulses[count - 2] if count > 1 else 0.0) < t <= pulses[count - 1]
    assert sys.getswitchinterval() == interval


def test_the_driver_is_given_20_ms_to_hold_the_motor() -> None:
    clock = VirtualClock(100.0)
    with Stepper(clock, LineFactory(clock), PINS, SCREW) as stepper:
        stepper.enable()
        assert clock.time_s() == pytest.approx(100.020, abs=1e-9)


def test_the_direction_line_is_given_1_ms_before_the_plan_begins(bench: Bench) -> None:
    turned = bench.clock.time_s()
    bench.run(Plan(3, gap_s=0.001, direction=-1))
    np.testing.assert_allclose(bench.factory.pulses() - turned, [0.002, 0.003, 0.004], atol=1e-9)


@pytest.mark.parametrize(("late_s", "counted"), [(0.00049, 0), (0.00051, 1)])
def test_a_pulse_counts_as_late_beyond_half_a_millisecond(
    bench: Bench, late_s: float, counted: int
) -> None:
    hold_up(bench, at=20, seconds=0.002 + late_s)
    result = bench.run(Plan(60))
    assert result.late == counted
    assert result.worst_late_us == pytest.approx(late_s * 1e6)


def test_the_train_catches_up_at_one_and_a_half_times_its_rate(bench: Bench) -> None:
    hold_up(bench, at=20, seconds=0.0102)
    bench.run(Plan(60))
    assert 1 / np.diff(bench.factory.pulses()).min() == pytest.approx(1.5 * 500)


@pytest.mark.parametrize(("late_s", "fault"), [(0.0049, False), (0.0051, True)])
def test_the_bound_of_lateness_is_that_of_the_settings(
    make_bench: MakeBench, late_s: float, fault: bool
) -> None:
    bench = make_bench(late_pulse_ms=5.0)
    hold_up(bench, at=20, seconds=0.002 + late_s)
    if fault:
        with pytest.raises(MachineFaultError, match=r"due 5\.1 ms ago"):
            bench.run(Plan(60))
    else:
        assert bench.run(Plan(60)).ended_by == "plan"


def test_a_brake_begins_20_ms_after_the_pulse_before_it_was_asked_for(bench: Bench) -> None:
    """The 49th pulse, at 98 ms, came before; the tail follows the pulse at 118 ms."""
    plan = Plan(1000)
    start = bench.clock.time_s() + SET_UP_S
    bench.run(plan, bench.after_s(0.1, lambda: bench.stepper.request_stop("brake")))
    (begin,) = plan.asked
    assert bench.factory.pulses()[begin - 1] - start == pytest.approx(0.118, abs=0.0021)


@pytest.mark.parametrize("how", ["brake", "cut"])
def test_a_stop_ends_one_move_and_not_the_next(bench: Bench, how: Literal["brake", "cut"]) -> None:
    for _ in range(2):
        stop = lambda: bench.stepper.request_stop(how)  # noqa: E731
        assert bench.run(Plan(1000), bench.after_s(0.1, stop)).ended_by == how
    assert bench.run(Plan(100)) == MoveResult(100, 0, 0.0, "plan")


def test_a_brake_that_never_came_to_be_is_forgotten(bench: Bench) -> None:
    """The move is cancelled between the request and the beginning of the brake."""

    def main() -> Task[None]:
        handle = bench.clock.spawn(bench.stepper.move(Plan(1000)), "move")
        yield At(bench.clock.time_s() + 0.1)
        bench.stepper.request_stop("brake")
        handle.cancel()
        yield from handle.join()

    bench.clock.run(main())
    assert bench.run(Plan(100)) == MoveResult(100, 0, 0.0, "plan")


def test_the_enable_line_is_let_go_of_last() -> None:
    clock = VirtualClock()
    factory = LineFactory(clock)
    with Stepper(clock, factory, PINS, SCREW):
        factory.log.clear()
    released = [number for _, number, what in factory.log if what == "input"]
    assert released == [PINS.step, PINS.direction, PINS.enable]


@pytest.mark.parametrize("permitted", [True, False])
def test_the_pulse_thread_comes_before_others_where_that_is_permitted(
    monkeypatch: pytest.MonkeyPatch, permitted: bool
) -> None:
    """Priority 50, and other threads give way after 0.1 ms; afterwards all is as it was."""
    policies: list[tuple[int, int]] = []
    intervals: list[float] = []

    def set_policy(_: int, policy: int, parameters: os.sched_param) -> None:
        if not permitted:
            raise PermissionError
        policies.append((policy, parameters.sched_priority))

    monkeypatch.setattr(os, "sched_setscheduler", set_policy)
    before, interval = (os.sched_getscheduler(0), 0), sys.getswitchinterval()
    clock = RealClock()
    factory = LineFactory(clock)
    factory.after_pulse = lambda: intervals.append(sys.getswitchinterval())
    with Stepper(clock, factory, PINS, SCREW, late_pulse_ms=60_000.0) as stepper:
        stepper.enable()
        assert clock.run(stepper.move(Plan(3))).pulses == 3
    assert policies == ([(os.SCHED_FIFO, 50), before] if permitted else [])
    assert intervals == [pytest.approx(100e-6)] * 3
    assert sys.getswitchinterval() == interval
