"""Each step of a run by itself: its times, its refusals, its flags, and every way out of it."""

from collections.abc import Callable
from typing import Any, Literal

import msgspec
import pytest

from rig.calibration.home import HomeCheck, slopes_deg
from rig.clock import Cancelled, Task
from rig.control.cycle import Cycle
from rig.control.mover import Mover, StoppedError
from rig.control.placing import Placed
from rig.control.request import RunRequest
from rig.control.stop import StopRequest
from rig.errors import MachineFaultError
from rig.runfile.model import Outcome, Steps
from rig.twin.draws import changed
from tests.control.conftest import MakeBench
from tests.control.machine_bench import SCENARIO, SETTINGS, Bench

REQUEST = RunRequest(
    rate_deg_s=3.0,
    dwell_s=0.5,
    gap_mm=8.0,
    u_gap_mm=1.0,
    bag_length_mm=152.0,
    u_bag_length_mm=4.0,
)


class Quick:
    """Places the bag in a moment, and does what a test wants then."""

    kind: Literal["hand", "blade"] = "hand"

    def __init__(self, bench: Bench, act: Callable[[], Any] = lambda: None) -> None:
        self._bench, self._act = bench, act
        self.driver_was_on: bool | None = None

    def place(self, mover: Mover, request: RunRequest) -> Task[Placed]:
        self.driver_was_on = self._bench.world.motor.is_enabled
        self._act()
        yield from mover.wait_s(0.01)
        return Placed(request.gap_mm, request.u_gap_mm)


def cycle(
    bench: Bench, placing: Quick | None = None, **asked: Any
) -> tuple[Cycle, Callable[[], Outcome]]:
    """A run that has not begun, and what makes it."""
    recorder = bench.recorder("parked")
    request = msgspec.structs.replace(REQUEST, **asked)
    made = Cycle(bench.machine, request, recorder, placing or Quick(bench))
    return made, lambda: bench.run(made.run())


# -- a run as it should be --------------------------------------------------------------------


@pytest.fixture(scope="module")
def good() -> Bench:
    bench = Bench()
    with bench.rig:
        placing = Quick(bench)
        _, run = cycle(bench, placing)
        assert run() == "slid"
        assert placing.driver_was_on is False
        assert not bench.world.motor.is_enabled
    return bench


def test_the_home_reading_is_taken_at_rest(good: Bench) -> None:
    # 0.6 s for the cradle to come to rest, 1 s of samples.
    read_s = good.wrote_s("home_reading")
    last_s = max(t for t, _ in good.pulses if t < read_s)
    assert read_s - last_s == pytest.approx(1.6, abs=0.05)


def test_the_bag_rests_for_the_dwell(good: Bench) -> None:
    dwell_s = good.wrote_s("state", state="raising") - good.wrote_s("state", state="dwelling")
    assert dwell_s == pytest.approx(0.5, abs=0.01)


def test_the_raise_goes_on_for_0_15_s_after_the_bag_has_passed(good: Bench) -> None:
    # A smooth stop from 3°/s takes 3/4 + 4/40 s, the pulses a little less; it begins when the
    # control loop looks, within 0.05 s, and 0.02 s after that.
    over_s = good.wrote_s("raise_ended") - good.wrote_s("beam_clear")
    assert over_s == pytest.approx(0.15 + 0.85, abs=0.07)


def test_the_board_is_lowered_to_0_3_deg_above_home(good: Bench) -> None:
    steps = [line for line in good.lines.lines if isinstance(line, Steps)]
    angle_deg = good.machine.linkage.angle_deg(float(steps[-1].count))
    assert angle_deg == pytest.approx(0.3, abs=0.01)


def test_its_end_says_what_came_of_it(good: Bench) -> None:
    assert (good.lines.last.outcome, good.lines.last.flags) == ("slid", [])
    assert good.machine.recorder is None
    assert good.machine.live.state == "parked"
    assert good.machine.is_homed
    assert [event.detail["gap_mm"] for event in good.lines.events("placed")] == [8.0]


# -- every way out ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("error", "outcome", "event"),
    [
        (StoppedError("Stopped by a test."), "stopped", "stopped"),
        (MachineFaultError("edges_lost", "An edge was lost."), "fault", "fault"),
        (MachineFaultError("emergency_stop", "It is pressed."), "fault", "estop"),
        (ZeroDivisionError(), "interrupted", None),
        (Cancelled(), "interrupted", None),
    ],
)
def test_every_way_out_switches_off_and_closes_the_file(
    bench: Bench, error: BaseException, outcome: Outcome, event: str | None
) -> None:
    machine = bench.machine

    def fail() -> None:
        machine.stepper.enable()
        machine.imu.samples_lost += 5
        machine.bus.retries += 2
        raise error

    machine.imu.samples_lost = 100
    machine.bus.retries = 100
    _, run = cycle(bench, Quick(bench, fail))
    if isinstance(error, Cancelled):
        run()
    else:
        with pytest.raises(type(error)):
            run()
    assert not bench.world.motor.is_enabled
    assert not machine.is_homed
    assert machine.live.state == "halted"
    assert machine.recorder is None
    last = bench.lines.last
    assert last.outcome == outcome
    assert "halted" in last.flags
    assert (last.samples_lost, last.bus_retries) == (5, 2)
    told = [name for name in ("stopped", "fault", "estop") if bench.lines.events(name)]
    assert told == ([] if event is None else [event])
    assert machine.latched is (error if isinstance(error, MachineFaultError) else None)


def test_what_cannot_be_written_leaves_the_driver_off(bench: Bench) -> None:
    def full() -> None:
        bench.machine.stepper.enable()
        bench.lines.fail = True
        raise ZeroDivisionError  # a fault would have switched it off before

    with pytest.raises(MachineFaultError, match="full"):
        cycle(bench, Quick(bench, full))[1]()
    assert not bench.world.motor.is_enabled


def test_a_fault_is_written_with_cause_and_remedy_and_flags_the_run(bench: Bench) -> None:
    placing = Quick(bench, bench.lose_an_edge)
    with pytest.raises(MachineFaultError):
        cycle(bench, placing)[1]()
    (told,) = bench.lines.events("fault")
    assert told.detail["cause"] == "edges_lost"
    assert "restart the computer" in told.detail["action"]
    assert set(bench.lines.last.flags) == {"beam_fault", "halted"}


def test_a_stop_while_the_board_moves_ends_it_with_the_driver_off(bench: Bench) -> None:
    made, _ = cycle(bench)
    stop = bench.when(
        lambda: bench.machine.live.state == "raising" and bench.machine.is_moving,
        lambda: bench.machine.events.put(StopRequest("a test")),
    )
    with pytest.raises(StoppedError):
        bench.run(made.run(), stop)
    assert not bench.world.motor.is_enabled
    assert bench.lines.last.outcome == "stopped"


# -- the home reading -------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("way", ["along", "across"])
@pytest.mark.parametrize(("off_deg", "is_off"), [(0.29, False), (0.31, True)])
def test_a_home_reading_may_differ_by_0_3_deg_from_the_calibration(
    bench: Bench, way: str, off_deg: float, is_off: bool, sign: int
) -> None:
    made, _ = cycle(bench)
    calibration = bench.machine.calibration
    assert calibration is not None
    along = calibration.home_angle_deg + (sign * off_deg if way == "along" else 0.0)
    across = calibration.home_cross_deg + (sign * off_deg if way == "across" else 0.0)

    def check() -> None:
        made._check_home(along, across)  # noqa: SLF001 - with a reading of one's own

    if is_off:
        with pytest.raises(MachineFaultError) as error:
            check()
        assert error.value.cause == "home_mismatch"
    else:
        check()
    recorder = bench.machine.recorder
    assert recorder is not None
    assert recorder.flags == (["floor_tilt"] if is_off else [])


def test_a_floor_that_moved_stops_the_run(bench: Bench) -> None:
    calibration = bench.machine.calibration
    assert calibration is not None
    bench.machine.calibration = msgspec.structs.replace(
        calibration, home_angle_deg=calibration.home_angle_deg + 0.5
    )
    with pytest.raises(MachineFaultError) as error:
        cycle(bench)[1]()
    assert error.value.cause == "home_mismatch"
    assert "floor_tilt" in bench.lines.last.flags


def test_a_floor_that_a_level_has_confirmed_is_flagged_and_the_run_goes_on(bench: Bench) -> None:
    made, _ = cycle(bench)
    calibration = bench.machine.calibration
    assert calibration is not None
    home = (calibration.home_angle_deg + 1.0, calibration.home_cross_deg)
    along, across = slopes_deg(calibration, *home)
    bench.machine.home_check = HomeCheck(
        checked_at="2026-01-01T00:00:00Z",
        calibration_made_at=calibration.made_at,
        sensor_along_deg=along,
        sensor_across_deg=across,
        level_along_deg=along,
        level_across_deg=across,
        u_level_deg=0.01,
    )
    made._check_home(*home)  # noqa: SLF001 - with a reading of one's own
    assert bench.machine.recorder is not None
    assert bench.machine.recorder.flags == ["floor_tilt"]
    with pytest.raises(MachineFaultError):
        made._check_home(home[0] + 0.31, home[1])  # noqa: SLF001 - and another one


# -- the bag and the beam ---------------------------------------------------------------------


def glitch(bench: Bench) -> None:
    bench.drive("beam_1", True)
    bench.drive("beam_1", False)


def in_state(bench: Bench, state: str, act: Callable[[], Any]) -> Task[None]:
    return bench.when(lambda: bench.machine.live.state == state, act)


def test_an_edge_in_the_dwell_flags_the_run(bench: Bench) -> None:
    made, _ = cycle(bench)
    assert bench.run(made.run(), in_state(bench, "dwelling", lambda: glitch(bench))) == "slid"
    assert bench.lines.last.flags == ["moved_before_raise"]


def test_a_beam_that_is_broken_at_the_end_of_the_dwell_stops_the_run(bench: Bench) -> None:
    made, _ = cycle(bench)
    broken = in_state(bench, "dwelling", lambda: bench.hold("beam_1", True))
    n_pulses: list[int] = []
    counted = in_state(bench, "dwelling", lambda: n_pulses.append(len(bench.pulses)))
    with pytest.raises(MachineFaultError) as error:
        bench.run(made.run(), broken, counted)
    assert error.value.cause == "beam_broken_before_raise"
    assert n_pulses == [len(bench.pulses)]


@pytest.mark.parametrize(
    ("beam", "flag"),
    [({"is_blind": True}, "no_slide"), ({"warp_break_deg": 5.8}, "stalled_in_slide")],
)
def test_a_bag_that_does_not_pass_is_flagged_by_what_the_beam_saw(
    make_bench: MakeBench, beam: dict[str, Any], flag: str
) -> None:
    linkage = msgspec.structs.replace(SETTINGS.linkage, soft_limit_deg=6.5)
    low = msgspec.structs.replace(SETTINGS, linkage=linkage)
    rough = changed(SCENARIO, beam=beam, face={"mu_static_dry": 1.0, "mu_kinetic_dry": 0.9})
    bench = make_bench(low, rough)
    assert cycle(bench)[1]() == "no_slide"
    assert bench.lines.last.flags == [flag]


# -- a quick approach -------------------------------------------------------------------------


def test_after_a_quick_approach_the_cradle_comes_to_rest(bench: Bench) -> None:
    assert cycle(bench, approach_deg=2.0)[1]() == "slid"
    started = bench.lines.events("raise_started")[0]
    assert started.detail["approach_deg"] == pytest.approx(2.0, abs=0.01)
    begun_s = bench.wrote_s("raise_started")
    before_s = max(t for t, _ in bench.pulses if t < begun_s)
    assert begun_s - before_s == pytest.approx(0.3, abs=0.05)
    assert bench.lines.last.flags == []


def test_a_bag_that_slides_in_the_approach_is_flagged(bench: Bench) -> None:
    cycle(bench, approach_deg=6.0)[1]()
    assert bench.lines.last.flags == ["slid_early"]


def test_an_approach_angle_below_the_board_is_skipped(bench: Bench) -> None:
    assert cycle(bench, approach_deg=-1.0)[1]() == "slid"
    assert "approach_deg" not in bench.lines.events("raise_started")[0].detail
