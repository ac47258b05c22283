"""The blade's places: where the beam and the park switch may meet it, and how far it goes."""

from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.clock import Task
from rig.control.blade.axis import BladeAxis, Push
from rig.control.mover import Mover
from rig.devices.stepper import Stepper
from rig.errors import MachineFaultError
from rig.settings.model import Beam
from rig.twin.blade import BladeBody
from rig.twin.draws import changed
from tests.control.conftest import MakeBench
from tests.control.machine_bench import BEAM, BLADE, EXACT, NO_SWITCH, PER_MM, Bench, caught


class Blade:
    """The blade's axis on a bench.

    Args:
        bench: with a blade.
    """

    def __init__(self, bench: Bench) -> None:
        assert bench.machine.blade is not None
        assert bench.world.pusher is not None
        self.bench = bench
        self.stepper: Stepper = bench.machine.blade
        self.body: BladeBody = bench.world.pusher.body
        self.axis = BladeAxis(bench.machine)
        self.mover = Mover(bench.machine)

    def push(self, *beside: Task[Any]) -> Push:
        return self.bench.run(self.axis.push(self.mover), *beside)

    def push_fails(self, *beside: Task[Any]) -> str:
        return caught(self.bench, self.axis.push(self.mover), *beside)

    def park(self, *beside: Task[Any]) -> None:
        self.bench.run(self.axis.park(self.mover), *beside)

    def park_fails(self, *beside: Task[Any]) -> str:
        return caught(self.bench, self.axis.park(self.mover), *beside)

    def go(self, mm: float) -> None:
        """Move to a place, without any checks."""
        self.bench.run(self.axis._go(self.mover, round(mm * PER_MM)))  # noqa: SLF001 - to begin a test from there

    def at(self, count: int, act: Callable[[], Any]) -> Task[None]:
        """Do something when the way up has come to this count."""
        return self.bench.when(lambda: self.stepper.count >= count, act)

    def back_at(self, count: int, act: Callable[[], Any]) -> Task[None]:
        """Do something when the way back has come to this count."""
        return self.bench.when(lambda: self.body.direction < 0 and self.stepper.count <= count, act)


@pytest.fixture
def blade(make_bench: MakeBench) -> Blade:
    return Blade(make_bench(BLADE, EXACT, reads=False))


@pytest.fixture
def free(make_bench: MakeBench) -> Blade:
    """Without a park switch."""
    return Blade(make_bench(NO_SWITCH, EXACT, reads=False))


# -- through the beam -------------------------------------------------------------------------


def test_a_push_goes_6_mm_past_the_beam_rests_and_comes_back(blade: Blade) -> None:
    push = blade.push()
    assert push.clear == pytest.approx(BEAM, abs=1)
    assert push.back == pytest.approx(BEAM, abs=1)
    assert push.first_break == pytest.approx(300, abs=15), "the bag's uphill edge"
    assert push.place == pytest.approx(0.5 * (push.clear + push.back))
    assert push.top == push.clear + 6 * PER_MM == max(n for _, n in blade.bench.blade_pulses)
    times = [t for t, _ in blade.bench.blade_pulses]
    assert max(np.diff(times)) == pytest.approx(0.5, abs=0.1)
    assert blade.stepper.count == 0
    assert not blade.body.is_enabled
    assert blade.mover.pushes == 1


def test_the_receivers_delay_is_taken_off(make_bench: MakeBench) -> None:
    settings = msgspec.structs.replace(BLADE, beam=Beam(response_ms=20.0))
    slow = changed(EXACT, beam={"response_ms": 20.0})
    push = Blade(make_bench(settings, slow, reads=False)).push()
    # In 20 ms the blade goes 0.8 mm, 4 steps.
    assert push.clear == pytest.approx(BEAM, abs=1)
    assert push.back == pytest.approx(BEAM, abs=1)


def meets(blade: Blade, off: int, limit: int) -> None:
    """The beam is met so many steps off its place: found up to a limit, a fault beyond it."""
    blade.stepper.count = off
    if abs(off) <= limit:
        assert blade.push().clear == pytest.approx(BEAM + off, abs=1)
    else:
        assert blade.push_fails() == "blade_lost"


@pytest.mark.parametrize("off", [49, 52, -49, -52])
def test_the_first_time_the_beam_is_met_within_10_mm(free: Blade, off: int) -> None:
    meets(free, off, 50)


@pytest.mark.parametrize("off", [9, 12, -9, -12])
def test_later_it_is_met_within_2_mm_of_the_last_time(free: Blade, off: int) -> None:
    free.axis.check_place(Push(BEAM + 30, BEAM, BEAM, None))
    meets(free, off, 10)


@pytest.mark.parametrize("sign", [1, -1])
def test_both_ways_may_differ_by_1_5_mm(blade: Blade, sign: int) -> None:
    blade.axis.check_place(Push(BEAM + 30, BEAM, BEAM + sign * 7, None))
    with pytest.raises(MachineFaultError) as error:
        blade.axis.check_place(Push(BEAM + 30, BEAM, BEAM + sign * 8, None))
    assert error.value.cause == "blade_lost"
    assert f"{-sign * 1.6:+.1f} mm" in error.value.what


def test_a_beam_that_clears_for_a_moment_on_the_way_is_not_the_blade(blade: Blade) -> None:
    def glitch() -> None:
        blade.bench.drive("beam_1", False)
        blade.bench.drive("beam_1", True)

    assert blade.push(blade.at(400, glitch)).clear == pytest.approx(BEAM, abs=1)


def test_a_beam_that_cleared_too_early_and_stays_clear_is_not_the_blade(blade: Blade) -> None:
    assert (
        blade.push_fails(blade.at(400, lambda: blade.bench.hold("beam_1", False))) == "blade_lost"
    )


@pytest.mark.parametrize(
    ("at", "level", "cause"), [(0, False, "blade_unseen"), (400, True, "blade_stalled")]
)
def test_it_goes_no_further_than_10_mm_and_its_stop_past_the_place(
    blade: Blade, at: int, level: bool, cause: str
) -> None:
    assert blade.push_fails(blade.at(at, lambda: blade.bench.hold("beam_1", level))) == cause
    # It stops from 40 mm/s in 20 · (0.05 + 0.04) mm, after 0.03 s.
    assert blade.stepper.count == BEAM + (10 + 3) * PER_MM


def test_a_blade_that_is_not_seen_on_its_way_back_goes_no_further(blade: Blade) -> None:
    at_top = blade.at(BEAM + 30, lambda: blade.bench.hold("beam_1", False))
    assert blade.push_fails(at_top) == "blade_unseen"
    # Its thickness and 8 mm below the beam.
    assert blade.stepper.count == BEAM - (3 + 8) * PER_MM


def test_what_stands_in_the_beam_when_it_turns_is_where_it_was_broken(blade: Blade) -> None:
    at_top = blade.at(BEAM + 30, lambda: blade.bench.drive("beam_1", True))
    push = blade.push(at_top)
    assert push.back == push.top


def test_a_beam_that_is_broken_before_has_no_first_break(blade: Blade) -> None:
    blade.bench.drive("beam_1", True)
    assert blade.push().first_break is None


# -- the park place ---------------------------------------------------------------------------


def test_the_first_time_it_looks_for_the_switch_slowly_and_all_the_way(
    make_bench: MakeBench,
) -> None:
    away = changed(EXACT, blade={"start_mm": 40.0})
    blade = Blade(make_bench(BLADE, away, reads=False))
    blade.park()
    assert blade.body.place_mm == pytest.approx(470.0, abs=0.25)
    assert blade.stepper.count == 0
    assert not blade.body.is_enabled
    # 5 mm/s are 25 steps/s.
    assert np.min(np.diff([t for t, _ in blade.bench.blade_pulses])) == pytest.approx(
        0.04, rel=0.01
    )


def slow_steps(blade: Blade) -> int:
    """Steps of the latest way down that were slower than 10 mm/s."""
    gaps = np.diff([t for t, _ in blade.bench.blade_pulses])
    return int(np.sum(np.abs(gaps - 0.04) < 0.02))


def test_later_it_goes_the_last_8_mm_slowly(blade: Blade) -> None:
    blade.park()
    blade.go(30.0)
    blade.bench.blade_pulses.clear()
    blade.park()
    assert slow_steps(blade) == pytest.approx(40, abs=8)
    assert blade.body.place_mm == pytest.approx(470.0, abs=0.25)


@pytest.mark.parametrize(("at", "fails"), [(41, True), (37, False)])
def test_a_switch_that_opens_8_mm_before_its_place_is_a_fault(
    blade: Blade, at: int, fails: bool
) -> None:
    blade.park()
    blade.go(30.0)
    early = blade.back_at(at, lambda: blade.bench.hold("blade_park", True))
    if fails:
        assert blade.park_fails(early) == "blade_park"
        assert blade.stepper.count == 40
    else:
        blade.park(early)
        assert blade.stepper.count == 0


def test_a_switch_that_does_not_open_is_given_up_5_mm_beyond_its_place(blade: Blade) -> None:
    blade.park()
    blade.go(30.0)
    blade.bench.hold("blade_park", False)
    assert blade.park_fails() == "blade_park"
    assert blade.stepper.count == -25


def test_a_switch_that_is_open_10_mm_uphill_stops_the_push(blade: Blade) -> None:
    blade.bench.hold("blade_park", True)
    assert blade.push_fails() == "blade_park"
    # The control loop looks every 0.05 s.
    assert 50 < blade.stepper.count <= 50 + 11


def test_a_switch_that_closes_within_10_mm_is_accepted(blade: Blade) -> None:
    blade.bench.hold("blade_park", True)
    closes = blade.at(46, lambda: blade.bench.let_go("blade_park", False))
    assert blade.push(closes).clear == pytest.approx(BEAM, abs=1)


def test_trying_out_tells_how_far_uphill_the_switch_opened(blade: Blade) -> None:
    lost: list[int] = []

    def lose() -> None:
        """Ten steps get lost on the way up."""
        lost.append(blade.body._motor)  # noqa: SLF001 - as if something held it
        blade.body._motor -= 10  # noqa: SLF001

    way = blade.axis.try_out(blade.mover, 15.0)
    assert blade.bench.run(way, blade.at(70, lose)) == pytest.approx(2.0, abs=0.21)
    assert len(lost) == 1
    assert blade.stepper.count == 0


def test_trying_out_sees_a_blade_that_does_not_leave(blade: Blade) -> None:
    hold = blade.at(1, lambda: blade.bench.hold("blade_park", True))
    assert caught(blade.bench, blade.axis.try_out(blade.mover, 15.0), hold) == "blade_park"


def test_without_a_switch_there_is_nothing_to_tell(free: Blade) -> None:
    assert free.bench.run(free.axis.try_out(free.mover, 15.0)) is None
    assert free.stepper.count == 0
    assert not free.body.is_enabled
