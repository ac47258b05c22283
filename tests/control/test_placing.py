"""Placing by hand: who is waited for, how long, and what must be free before it counts."""

import msgspec
import pytest

from rig.clock import At, Task
from rig.control.blade.placing import BladePlacing, placing_for
from rig.control.mover import Mover, StoppedError
from rig.control.placing import HandPlacing, Placed, StartRequest
from rig.control.request import RunRequest
from rig.settings.model import Pins
from tests.control.conftest import MakeBench
from tests.control.machine_bench import BLADE, SETTINGS, Bench, caught

REQUEST = RunRequest(
    rate_deg_s=1.0, dwell_s=0.0, gap_mm=8.0, u_gap_mm=1.3, bag_length_mm=152.0, u_bag_length_mm=4.0
)


@pytest.fixture
def bench(make_bench: MakeBench) -> Bench:
    """Without the sensors, of which little is needed here."""
    return make_bench(reads=False)


def place(bench: Bench, *beside: Task[None], is_ready: bool = False) -> Placed:
    placing = HandPlacing(bench.machine.inputs, 5.0, is_ready=is_ready)
    return bench.run(placing.place(Mover(bench.machine), REQUEST), *beside)


def presses(bench: Bench, at_s: float, held_s: float = 0.2) -> Task[None]:
    """Press the start button after a while."""
    yield At(bench.clock.time_s() + at_s)
    bench.world.press("start_button", True)
    yield At(bench.clock.time_s() + held_s)
    bench.world.press("start_button", False)


@pytest.mark.parametrize(("held_s", "counts"), [(0.02, False), (0.07, True), (1.0, True)])
def test_a_press_counts_and_a_spike_does_not(bench: Bench, held_s: float, counts: bool) -> None:
    if counts:
        assert place(bench, presses(bench, 1.0, held_s)) == Placed(8.0, 1.3)
        assert bench.clock.time_s() - bench.begun_s == pytest.approx(1.04, abs=0.02)
    else:
        with pytest.raises(StoppedError, match="Nobody pressed start"):
            place(bench, presses(bench, 1.0, held_s))


def test_a_button_that_is_held_all_along_counts_once_it_was_let_go(bench: Bench) -> None:
    bench.world.press("start_button", True)
    release = bench.after(2.0, lambda: bench.world.press("start_button", False))
    place(bench, release, presses(bench, 3.0))
    assert bench.clock.time_s() - bench.begun_s > 3.0


def test_a_press_counts_though_its_edges_are_lost(bench: Bench) -> None:
    bench.world.pins[SETTINGS.pins.start_button].when_changed = None
    assert place(bench, presses(bench, 1.0, 0.1)).tries == 1


def test_a_person_is_waited_for_no_longer_than_allowed(bench: Bench) -> None:
    with pytest.raises(StoppedError, match="within 5 s"):
        place(bench)
    assert bench.clock.time_s() - bench.begun_s == pytest.approx(5.0, abs=0.001)


def test_a_request_from_elsewhere_counts_as_a_press(bench: Bench) -> None:
    asked = bench.after(1.0, lambda: bench.machine.events.put(StartRequest()))
    assert place(bench, asked).tries == 1


@pytest.mark.parametrize("beam", ["beam_1", "beam_2"])
def test_with_a_broken_beam_it_asks_again(make_bench: MakeBench, beam: str) -> None:
    bench = make_bench(msgspec.structs.replace(SETTINGS, pins=Pins(beam_2=4)), reads=False)
    bench.drive(beam, True)
    wants: list[str] = []
    look = bench.after(1.5, lambda: wants.append(bench.machine.live.wants))
    clear = bench.after(2.0, lambda: bench.drive(beam, False))
    placed = place(bench, presses(bench, 1.0), look, clear, presses(bench, 3.0))
    assert placed.tries == 2
    assert "clear the beam" in wants[0]
    assert bench.machine.live.wants == ""


@pytest.mark.parametrize("beam", ["beam_1", "beam_2"])
def test_a_bag_that_is_said_to_lie_ready_must_leave_the_beam_free(
    make_bench: MakeBench, beam: str
) -> None:
    bench = make_bench(msgspec.structs.replace(SETTINGS, pins=Pins(beam_2=4)), reads=False)
    bench.drive(beam, True)
    placing = HandPlacing(bench.machine.inputs, 5.0, is_ready=True)
    assert caught(bench, placing.place(Mover(bench.machine), REQUEST)) == "beam_broken_before_raise"


def test_only_the_first_bag_lies_ready(bench: Bench) -> None:
    placing = HandPlacing(bench.machine.inputs, 5.0, is_ready=True)
    bench.run(placing.place(Mover(bench.machine), REQUEST))
    with pytest.raises(StoppedError):
        bench.run(placing.place(Mover(bench.machine), REQUEST))


def test_while_it_waits_the_interlocks_count(bench: Bench) -> None:
    placing = HandPlacing(bench.machine.inputs, 5.0)
    task = placing.place(Mover(bench.machine), REQUEST)
    assert caught(bench, task, bench.after(1.0, bench.lose_an_edge)) == "edges_lost"
    assert bench.clock.time_s() - bench.begun_s < 1.03


def test_who_places_the_bag_follows_from_the_settings(make_bench: MakeBench) -> None:
    assert isinstance(placing_for(make_bench().machine, is_ready=False), HandPlacing)
    assert isinstance(placing_for(make_bench(BLADE).machine, is_ready=False), BladePlacing)
