"""Waiting and moving under the interlocks: polling, stops and faults."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, Literal

import numpy as np
import pytest
from numpy.typing import NDArray

from rig.clock import At, Task
from rig.control.mover import Mover, StoppedError
from rig.control.stop import StopRequest
from rig.devices.inputs import Edge
from rig.devices.stepper import MoveResult
from rig.errors import Cause, MachineFaultError
from rig.runfile.model import State, Steps
from tests.control.conftest import MakeBench
from tests.control.machine_bench import Bench, caught


@pytest.fixture
def bench(make_bench: MakeBench) -> Bench:
    """Without the sensors, of which little is needed here."""
    return make_bench(reads=False)


def up(bench: Bench, to_deg: float = 20.0, rate_deg_s: float = 2.0) -> Task[None]:
    """A move of the board."""
    return Mover(bench.machine).move(bench.machine.plan(to_deg, rate_deg_s))


class Axis:
    """In place of a stepper: takes its time, and notes what it is asked.

    Args:
        bench: gives the clock.
        until_s: how long it moves, and how long after a smooth stop was asked for.
        ended_by: what it says of its end.
    """

    def __init__(
        self,
        bench: Bench,
        move_s: float = 1.0,
        brake_s: float = 0.3,
        ended_by: Literal["plan", "must_stop"] = "plan",
    ) -> None:
        self.stops: list[tuple[str, float]] = []
        self.is_enabled = False
        self.is_cancelled = False
        self._clock = bench.clock
        self._move_s, self._brake_s, self._ended_by = move_s, brake_s, ended_by

    def enable(self) -> None:
        self.is_enabled = True

    def request_stop(self, how: Literal["brake", "cut"]) -> None:
        self.stops.append((how, self._clock.time_s()))
        if how == "brake":
            self._end_s = self._clock.time_s() + self._brake_s

    def move(self, plan: Any) -> Task[MoveResult]:
        self._end_s = self._clock.time_s() + self._move_s
        try:
            while self._clock.time_s() < self._end_s:
                yield At(self._clock.time_s() + 0.001)
        except BaseException:
            self.is_cancelled = True
            raise
        return MoveResult(0, 0, 0.0, self._ended_by)


class Plan:
    """A move that should take a second and may take four."""

    direction = 1
    duration_s = 1.0
    time_limit_s = 4.0
    times_s: NDArray[np.float64] = np.empty(0)

    def brake(self, index: int) -> NDArray[np.float64]:
        return self.times_s


def moving(bench: Bench, axis: Axis) -> Task[None]:
    return Mover(bench.machine).move(Plan(), axis=axis)  # type: ignore[arg-type]


# -- polling ----------------------------------------------------------------------------------


@pytest.mark.parametrize("moves", [False, True])
def test_a_condition_is_noticed_within_50_ms(bench: Bench, moves: bool) -> None:
    set_s: list[float] = []

    def set_it() -> None:
        set_s.append(bench.clock.time_s())
        bench.lose_an_edge()

    def task() -> Task[None]:
        yield from moving(bench, Axis(bench)) if moves else Mover(bench.machine).wait_s(1.0)

    assert caught(bench, task(), bench.after(0.5001, set_it)) == "edges_lost"
    # The watching tasks take some time to end after that, on a clock that jumps none.
    assert 0.04 < bench.clock.time_s() - set_s[0] <= 0.0501


def test_it_shows_signs_of_life_while_it_waits_and_while_it_moves(bench: Bench) -> None:
    beats: list[float] = []
    bench.machine.on_beat = lambda: beats.append(bench.clock.time_s())
    bench.run(Mover(bench.machine).wait_s(3.0))
    bench.run(moving(bench, Axis(bench, move_s=3.0)))
    assert max(np.diff(beats)) < 0.4


def test_the_computer_is_asked_while_it_waits(bench: Bench) -> None:
    bench.machine.host.is_supply_low = True
    bench.machine.host._due_s = 0.0  # noqa: SLF001 - it is due
    assert bench.met() == "low_supply"
    bench.run(Mover(bench.machine).wait_s(0.1))
    assert bench.met() is None


def test_a_wait_returns_its_edges_and_takes_its_time(bench: Bench) -> None:
    press = bench.after(0.2, lambda: bench.drive("beam_1", True))
    edges = bench.run(Mover(bench.machine).wait_s(1.0), press)
    assert [(edge.name, edge.active) for edge in edges] == [("beam_1", True)]
    assert bench.clock.time_s() - bench.begun_s == pytest.approx(1.0, abs=1e-6)


# -- what ends it -----------------------------------------------------------------------------


def test_a_request_and_a_button_stop_it(bench: Bench) -> None:
    with pytest.raises(StoppedError, match="Stopped by SIGTERM"):
        bench.run(
            Mover(bench.machine).wait_s(1.0),
            bench.after(
                0.1, lambda: bench.machine.events.put(StopRequest("SIGTERM", ends_program=True))
            ),
        )
    with pytest.raises(StoppedError, match="stop button"):
        bench.run(
            Mover(bench.machine).wait_s(1.0),
            bench.after(0.1, lambda: bench.world.press("stop_button", True)),
        )


@pytest.mark.parametrize("edge", ["stop_button", "emergency_stop"])
def test_an_edge_counts_though_its_level_is_over(bench: Bench, edge: str) -> None:
    def press() -> None:
        bench.machine.events.put(Edge(bench.clock.time_s(), edge, True))

    with pytest.raises((StoppedError, MachineFaultError), match="stop"):
        bench.run(Mover(bench.machine).wait_s(1.0), bench.after(0.1, press))


@pytest.mark.parametrize("edge", ["stop_button", "emergency_stop"])
def test_a_level_counts_though_its_edge_is_lost(bench: Bench, edge: str) -> None:
    def press() -> None:
        bench.world.pins[getattr(bench.machine.settings.pins, edge)].when_changed = None
        bench.world.press(edge, True)

    with pytest.raises((StoppedError, MachineFaultError), match="stop"):
        bench.run(Mover(bench.machine).wait_s(1.0), bench.after(0.1, press))


def test_a_level_that_is_there_already_stops_a_move_before_its_driver_is_on(bench: Bench) -> None:
    for button, error in (("emergency_stop", MachineFaultError), ("stop_button", StoppedError)):
        axis = Axis(bench)
        bench.world.press(button, True)
        with pytest.raises(error):
            bench.clock.run(moving(bench, axis))
        assert not axis.is_enabled
        bench.world.press(button, False)


def test_a_condition_that_is_met_already_is_noticed_before_the_wait(bench: Bench) -> None:
    bench.lose_an_edge()
    begun_s = bench.clock.time_s()
    with pytest.raises(MachineFaultError):
        bench.clock.run(Mover(bench.machine).next_event(begun_s + 0.3))
    assert bench.clock.time_s() == begun_s


def test_a_condition_that_comes_with_an_event_is_noticed_with_it(bench: Bench) -> None:
    def both() -> None:
        bench.lose_an_edge()
        bench.machine.events.put(Edge(bench.clock.time_s(), "beam_1", True))

    def task() -> Task[Any]:
        bench.clock.spawn(bench.after(0.1, both), "both")
        return (yield from Mover(bench.machine).next_event(bench.clock.time_s() + 0.3))

    with pytest.raises(MachineFaultError):
        bench.clock.run(task())


def test_what_a_watching_task_raised_ends_it(
    make_bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = make_bench()

    def fail() -> None:
        raise MachineFaultError("imu_reset", "It has lost its configuration.")

    monkeypatch.setattr(bench.machine.imu, "verify", fail)
    assert caught(bench, Mover(bench.machine).wait_s(3.0)) == "imu_reset"


def test_nothing_moves_while_a_fault_is_latched(bench: Bench) -> None:
    bench.machine.latch(MachineFaultError("disk", "It is full."))
    axis = Axis(bench)
    assert caught(bench, moving(bench, axis)) == "disk"
    assert not axis.is_enabled


# -- a beam that flickers ---------------------------------------------------------------------


class Edges:
    """Gives a mover edges of a beam, as its events would."""

    def __init__(self, bench: Bench, state: State) -> None:
        self.bench = bench
        self.mover = Mover(bench.machine, bench.recorder(state))

    def come(self, times_s: list[float]) -> None:
        for i, time_s in enumerate(times_s):
            self.bench.machine.events.put(Edge(time_s, "beam_1", i % 2 == 0))

            def take() -> Task[Any]:
                return (yield from self.mover.next_event(self.bench.clock.time_s()))

            self.bench.clock.run(take())


def over(seconds: float, n: int) -> list[float]:
    """Times of so many edges, from the first to the last in so many seconds."""
    return [i * seconds / (n - 1) for i in range(n)]


def flickers(bench: Bench, state: State, times_s: list[float]) -> bool:
    try:
        Edges(bench, state).come(times_s)
    except MachineFaultError as error:
        return error.cause == "beam_flicker"
    return False


@pytest.mark.parametrize(
    ("n", "seconds", "expected"),
    [(12, 0.99, True), (12, 1.01, False), (11, 0.1, False), (24, 2.2, False), (24, 2.0, True)],
)
def test_twelve_edges_within_a_second_are_a_fault(
    bench: Bench, n: int, seconds: float, expected: bool
) -> None:
    assert flickers(bench, "raising", over(seconds, n)) == expected


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        ("homing", False),
        ("placing", False),
        ("dwelling", True),
        ("sliding", True),
        ("lowering", False),
    ],
)
def test_hands_may_go_through_the_beam_where_nothing_is_measured(
    bench: Bench, state: State, expected: bool
) -> None:
    assert flickers(bench, state, over(0.5, 12)) == expected


def test_in_placing_the_beam_counts_while_something_moves(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(type(bench.machine), "is_moving", True)
    assert flickers(bench, "placing", over(0.5, 12))


def test_edges_of_the_previous_run_are_forgotten(bench: Bench) -> None:
    edges = Edges(bench, "raising")
    edges.come(over(0.1, 11))
    bench.machine.enter("lowering")
    edges.come([0.11])
    for state in ("parked", "homing", "placing", "dwelling"):
        bench.machine.enter(state)
    edges.come([0.12])


def test_edges_of_beams_and_limits_are_written_with_their_own_time(bench: Bench) -> None:
    mover = Edges(bench, "raising").mover

    def take() -> Task[None]:
        for name, active in (("beam_1", True), ("beam_2", False), ("limit_upper", True)):
            bench.machine.events.put(Edge(0.01, name, active))
            yield from mover.next_event(bench.clock.time_s())

    bench.clock.run(take())
    found = [bench.lines.events(name) for name in ("beam_broken", "beam_clear", "limit_upper")]
    begun_s = bench.machine.opened_s
    assert [[line.t_s for line in lines] for lines in found] == [[round(0.01 - begun_s, 6)]] * 3
    assert [lines[0].detail for lines in found] == [{"beam": 1}, {"beam": 2}, {}]


# -- how a move ends --------------------------------------------------------------------------


def test_a_fault_cuts_the_pulses_and_ends_their_task(bench: Bench) -> None:
    axis = Axis(bench)

    def task() -> Task[None]:
        with pytest.raises(MachineFaultError, match="handled: 1"):
            yield from moving(bench, axis)
        yield At(bench.clock.time_s() + 0.01)
        assert [how for how, _ in axis.stops] == ["cut"]
        assert axis.is_cancelled

    bench.run(task(), bench.after(0.3, bench.lose_an_edge))


def test_a_stop_brakes_and_waits_until_it_stands(bench: Bench) -> None:
    axis = Axis(bench, brake_s=0.7)
    stop = bench.after(0.4, lambda: bench.machine.events.put(StopRequest("a test")))
    with pytest.raises(StoppedError, match="a test"):
        bench.run(moving(bench, axis), stop)
    assert [how for how, _ in axis.stops] == ["brake"]
    assert not axis.is_cancelled
    assert bench.clock.time_s() - bench.begun_s == pytest.approx(1.1, abs=0.01)


def braking(bench: Bench, axis: Axis, *beside: Task[Any]) -> None:
    """A stop is asked for 0.4 s into a move."""
    stop = bench.after(0.4, lambda: bench.machine.events.put(StopRequest("a test")))
    with pytest.raises(StoppedError, match="a test"):
        bench.run(moving(bench, axis), stop, *beside)


def test_a_brake_that_takes_more_than_2_s_is_cut(bench: Bench) -> None:
    axis = Axis(bench, brake_s=60.0)
    braking(bench, axis)
    (first, begun_s), (last, cut_s) = axis.stops
    assert (first, last) == ("brake", "cut")
    assert cut_s - begun_s == pytest.approx(2.0, abs=0.01)
    assert axis.is_cancelled


def test_while_it_brakes_it_shows_signs_of_life(bench: Bench) -> None:
    beats: list[float] = []
    bench.machine.on_beat = lambda: beats.append(bench.clock.time_s())
    axis = Axis(bench, brake_s=1.5)
    braking(bench, axis)
    ((_, begun_s),) = axis.stops
    while_braking = [begun_s, *(beat for beat in beats if beat > begun_s), begun_s + 1.5]
    assert max(np.diff(while_braking)) < 0.06


def test_a_stop_request_during_braking_is_kept(bench: Bench) -> None:
    """The caller of the move must still learn that the program is to end."""
    events = bench.machine.events
    wishes = [
        bench.after(0.5, lambda: events.put(StopRequest("SIGTERM", ends_program=True))),
        bench.after(0.6, lambda: events.put(StopRequest("SIGHUP", ends_program=True))),
    ]
    braking(bench, Axis(bench, brake_s=0.7), *wishes)
    kept = [item for item in bench.left() if isinstance(item, StopRequest)]
    assert kept == [
        StopRequest("SIGTERM", ends_program=True),
        StopRequest("SIGHUP", ends_program=True),
    ]


def test_a_condition_that_is_met_while_it_brakes_cuts_the_pulses(bench: Bench) -> None:
    axis = Axis(bench, brake_s=1.5)
    stop = bench.after(0.4, lambda: bench.machine.events.put(StopRequest("a test")))
    lost = bench.after(0.8, bench.lose_an_edge)
    assert caught(bench, moving(bench, axis), stop, lost) == "edges_lost"
    assert [how for how, _ in axis.stops] == ["brake", "cut"]


def test_a_move_that_is_not_over_at_its_deadline_is_cut(bench: Bench) -> None:
    axis = Axis(bench, move_s=60.0)
    assert caught(bench, moving(bench, axis)) == "over_time"
    ((how, cut_s),) = axis.stops
    assert how == "cut"
    assert cut_s - bench.begun_s == pytest.approx(4.0, abs=0.06)


@pytest.mark.parametrize("cause", ["emergency_stop", "limit_upper", "control_silent"])
def test_what_the_pulse_loop_ended_is_a_fault_though_its_reason_is_gone(
    bench: Bench, cause: Cause
) -> None:
    bench.machine.cut_by = cause
    assert caught(bench, moving(bench, Axis(bench, 0.2, ended_by="must_stop"))) == cause


def test_a_completed_move_ignores_an_old_reason_of_a_cut(bench: Bench) -> None:
    bench.machine.cut_by = "emergency_stop"
    bench.run(moving(bench, Axis(bench, 0.2)))


def test_what_a_move_raised_is_raised(bench: Bench) -> None:
    def late() -> None:
        if len(bench.pulses) == 300:
            bench.clock.advance_to(bench.clock.time_s() + 0.06)

    bench.on_pulse = late
    assert caught(bench, up(bench)) == "late_pulse"
    assert len(bench.pulses) == 300


# -- steps, progress, clocks ------------------------------------------------------------------


def test_steps_are_written_20_times_a_second_and_at_the_end(bench: Bench) -> None:
    mover = Mover(bench.machine, bench.recorder("raising"))
    bench.run(mover.move(bench.machine.plan(2.0, 1.0)))
    steps = [line for line in bench.lines.lines if isinstance(line, Steps)]
    # The first one tells of the pulse before this move.
    assert max(np.diff([line.t_s for line in steps[1:]])) < 0.06
    assert steps[-1].count == bench.machine.stepper.count == len(bench.pulses)
    assert bench.machine.live.step_angle_deg == pytest.approx(2.0, abs=0.01)


def test_the_last_steps_are_written_though_the_control_loop_was_busy(bench: Bench) -> None:
    mover = Mover(bench.machine, bench.recorder("raising"))

    def busy(item: Any) -> None:
        if bench.machine.is_moving:
            bench.clock.advance_to(bench.clock.time_s() + 1.5)

    bench.run(mover.move(bench.machine.plan(0.5, 1.0), busy))
    steps = [line for line in bench.lines.lines if isinstance(line, Steps)]
    assert steps[-1].count == bench.machine.stepper.count == len(bench.pulses)


def test_the_lateness_of_pulses_is_written_in_microseconds(bench: Bench) -> None:
    def late() -> None:
        if len(bench.pulses) == 300:
            gap_s = bench.pulses[-1][0] - bench.pulses[-2][0]
            bench.clock.advance_to(bench.clock.time_s() + gap_s + 0.01)

    bench.on_pulse = late
    mover = Mover(bench.machine, bench.recorder("raising"))
    bench.run(mover.move(bench.machine.plan(2.0, 1.0)))
    steps = [line for line in bench.lines.lines if isinstance(line, Steps)]
    assert max(line.jitter_us for line in steps) == pytest.approx(10_000.0, rel=0.1)


def test_a_board_that_does_not_follow_its_steps_stops_the_move(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench.world.motor, "step", lambda now_s: False)
    assert caught(bench, up(bench)) == "no_progress"


def test_the_blades_steps_are_not_the_boards(bench: Bench) -> None:
    before = bench.machine.live.step_angle_deg
    bench.machine.stepper.count = 5000
    bench.run(moving(bench, Axis(bench, 0.2)))
    assert bench.machine.live.step_angle_deg == before


def test_each_move_is_followed_from_its_begin(bench: Bench) -> None:
    begun_s: list[float] = []
    bench.machine.progress.begin = lambda: begun_s.append(bench.clock.time_s())  # type: ignore[method-assign]
    bench.run(moving(bench, Axis(bench, 0.2)))
    assert begun_s == [bench.begun_s]


def set_clock(bench: Bench) -> Callable[[], None]:
    def act() -> None:
        bench.clock._utc += timedelta(hours=-1)  # noqa: SLF001 - nobody else can set it

    return act


def test_a_clock_that_was_set_counts_in_a_move_only(bench: Bench) -> None:
    bench.machine.enter("raising")
    bench.run(Mover(bench.machine).wait_s(2.0), bench.after(1.0, set_clock(bench)))
    bench.run(up(bench, 8.0))
    assert caught(bench, up(bench, 16.0), bench.after(0.5, set_clock(bench))) == "clock_jump"


def test_a_capture_is_the_mean_of_its_time(make_bench: MakeBench) -> None:
    bench = make_bench()
    angle_deg, cross_deg = bench.run(Mover(bench.machine).capture_angles_deg(0.5))
    assert angle_deg == pytest.approx(bench.world.motor.angle_deg, abs=0.1)
    assert abs(cross_deg) < 0.2


def test_a_flag_and_an_event_need_a_file(bench: Bench) -> None:
    Mover(bench.machine).flag("creep")
    Mover(bench.machine).note("something")
    recorder = bench.recorder("raising")
    mover = Mover(bench.machine, recorder)
    mover.flag("creep")
    mover.note("something", n=1)
    assert recorder.flags == ["creep"]
    assert bench.lines.events("something")[0].detail == {"n": 1}
