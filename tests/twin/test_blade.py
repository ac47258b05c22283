"""The twin's blade by itself: play, contact, spring-back, what stands in the beams, draws."""

import math
from statistics import fmean, stdev

import msgspec
import pytest

from rig.clock import VirtualClock
from rig.runfile.model import Event, Header
from rig.settings.model import Blade, Pins, Settings
from rig.twin.blade import BladeBody, Pusher, draw_push
from rig.twin.draws import changed, draw_scenario
from rig.twin.placed import PlacedBag
from rig.twin.scenario import BladeTruth, Scenario
from rig.twin.world import World
from tests.fastsim.run import simulate_run

SETTINGS = Settings(
    pins=Pins(blade_step=13, blade_direction=19, blade_enable=21, beam_2=18),
    blade=Blade(fitted=True),
)


def scenario(**blade: object) -> Scenario:
    return changed(
        draw_scenario(1),
        blade={"play_mm": 0.2, "thickness_error_mm": 0.0, "fold_share": 0.0} | blade,
        beam={"spacing_error_mm": 0.0},
    )


def drive(body: BladeBody, pulses: int) -> int:
    """So many pulses uphill, or downhill; returns how many it followed."""
    body.is_enabled = True
    body.direction = 1 if pulses > 0 else -1
    return sum(body.step(1.0) for _ in range(abs(pulses)))


def test_the_drive_has_play_on_reversing_and_stops_at_its_ends() -> None:
    body = BladeBody(SETTINGS, BladeTruth(play_mm=0.2))
    assert drive(body, 100) == 100
    assert body.place_mm == pytest.approx(300.0 + 5.0 - 0.2)
    drive(body, -4)
    assert body.place_mm == pytest.approx(304.8)
    drive(body, -1)
    assert body.place_mm == pytest.approx(304.75)
    drive(body, -1000)
    assert body.place_mm == pytest.approx(297.0)
    assert body.is_parked
    assert body.lost > 0
    assert drive(body, 10000) == 8060
    assert not body.is_parked


def test_without_current_no_pulse_counts_and_a_jam_holds_it() -> None:
    body = BladeBody(SETTINGS, BladeTruth(jam_mm=10.0))
    assert not body.step(1.0)
    assert drive(body, 300) == 200
    assert body.lost == 100


def at_work(**blade: object) -> tuple[Pusher, PlacedBag]:
    truth = scenario(**blade)
    pusher = Pusher(7, truth, SETTINGS, 2)
    bag = pusher.laid(PlacedBag.put(7, truth, SETTINGS, 1, 0.0, 2))
    return pusher, bag


def push_to(pusher: Pusher, bag: PlacedBag, place_mm: float) -> PlacedBag:
    """Move the blade to a place, and the bag with it."""
    body = pusher.body
    body.is_enabled = True
    body.direction = 1 if place_mm > body.place_mm else -1
    while (place_mm - body.place_mm) * body.direction > 0.0 and body.step(1.0):
        bag = pusher.push(bag, 5.0) or bag
    return bag


def test_the_bag_goes_with_the_blade_and_springs_back_when_it_is_let_go() -> None:
    pusher, bag = at_work(springback_mm=1.3)
    assert -290.0 < bag.placing.gap_mm < -285.0
    bag = push_to(pusher, bag, 599.0)
    assert pusher.pushes == 1
    top = pusher.body.place_mm
    bag = push_to(pusher, bag, 400.0)
    assert bag.placing.gap_mm == pytest.approx(top - 590.0 - 1.3, abs=1e-9)
    assert bag.placed_s == 5.0
    assert pusher.pushes == 1
    assert pusher.draw is not None
    assert bag.placing.skew_deg == pusher.draw.skew_deg
    assert bag.placing.length_mm == pusher.draw.length_mm


def test_beams_see_the_bag_then_the_blade_and_clear_a_little_late() -> None:
    pusher, bag = at_work(springback_mm=0.0)
    length = SETTINGS.bag.length_mm
    assert not pusher.covers(1, False)
    push_to(pusher, bag, 540.0 - length - 12.0)
    assert not pusher.covers(2, False)
    bag = push_to(pusher, bag, 541.0)
    assert pusher.covers(1, False)
    assert pusher.covers(2, False)
    bag = push_to(pusher, bag, 593.1)
    assert pusher.covers(1, True)
    assert not pusher.covers(1, False)
    assert not pusher.covers(2, True)
    bag = push_to(pusher, bag, 593.5)
    assert not pusher.covers(1, True)


def test_a_bag_in_the_beam_is_seen_when_the_blade_has_gone() -> None:
    pusher, bag = at_work(springback_mm=12.0)
    bag = push_to(pusher, bag, 599.0)
    bag = push_to(pusher, bag, 400.0)
    assert bag.placing.gap_mm < 0.0
    assert pusher.covers(1, False)
    assert not pusher.covers(2, False)


def test_after_a_slide_the_bag_lies_on_the_blade_and_a_lost_one_nowhere() -> None:
    for lost, gone in ((None, False), (1, True)):
        pusher, bag = at_work(springback_mm=0.0)
        bag.scenario = changed(bag.scenario, bag={"lost_after": lost})
        bag = push_to(pusher, bag, 599.0)
        bag = push_to(pusher, bag, 300.0)
        slide = bag.raise_from(10.0)
        slide.advance(80.0, lambda t: 0.01 * (t - 10.0))
        assert slide.is_caught
        bag = pusher.come_to_rest(bag, 90.0)
        assert bag.is_gone == gone
        assert bag.placing.number == 2
        assert bag.placing.gap_mm == pytest.approx(-290.0, abs=1.0)
        bag = push_to(pusher, bag, 500.0)
        assert pusher.covers(1, False) != gone


def test_a_raise_with_the_bag_on_the_catch_moves_nothing() -> None:
    _, bag = at_work()
    bag.placing = msgspec.structs.replace(bag.placing, gap_mm=-290.0)
    slide = bag.raise_from(1.0)
    assert slide.is_over
    assert slide.advance(60.0, lambda t: 0.015 * t) == []


def test_pushes_scatter_as_they_should() -> None:
    truth = scenario(fold_share=0.25)
    draws = [draw_push(1, truth, SETTINGS, n, 1) for n in range(400)]
    back = [draw.springback_mm for draw in draws]
    # Even between 0 and 2 mm: mean 1, standard deviation 2/√12.
    assert fmean(back) == pytest.approx(1.0, abs=0.1)
    assert stdev(back) == pytest.approx(0.577, abs=0.06)
    assert max(back) <= 2.0
    assert max(abs(draw.skew_deg) for draw in draws) <= 6.0
    folded = [draw for draw in draws if draw.is_folded]
    assert len(folded) / 400 == pytest.approx(0.25, abs=0.07)
    assert all(draw.length_mm < 140.0 for draw in folded)
    assert all(150.0 < d.length_mm < 170.0 for d in draws if not d.is_folded)
    assert draw_push(1, truth, SETTINGS, 3, 1) == draws[3]


def test_the_fast_simulator_places_by_blade_where_one_is_fitted() -> None:
    truth = scenario()
    errors = []
    for n in range(1, 13):
        lines, made = simulate_run(SETTINGS, truth, 4, number=n)
        header = lines[0]
        assert isinstance(header, Header)
        assert header.placing == "blade"
        events = [line for line in lines if isinstance(line, Event)]
        placed = next(event for event in events if event.event == "placed").detail
        assert placed["pushes"] == 1
        errors.append(placed["gap_mm"] - made.gap_placed_mm)
    assert abs(fmean(errors)) < 3.0 * placed["u_gap_mm"] / 12**0.5
    assert stdev(errors) < 1.5 * placed["u_gap_mm"]


@pytest.mark.parametrize("settle_deg", [0.0, 3.0])
def test_a_bag_that_is_settled_was_not_raised(settle_deg: float) -> None:
    """Tilting and back after the push is no raise: that begins half a degree above it."""
    settings = Settings(pins=SETTINGS.pins, blade=Blade(fitted=True, settle_deg=settle_deg))
    low = changed(scenario(), board={"start_angle_deg": 0.4})
    made = World(VirtualClock(), settings, low, 1)
    begins_deg = max(1.0, settle_deg + 0.5)
    made.motor.is_enabled, made.motor.direction = True, 1
    raised = []
    for up_to_deg in (begins_deg - 0.05, begins_deg + 0.05):
        for _ in range(math.ceil(made.motor.position_at(up_to_deg)) - made.motor.position):
            made.clock.pause_s(0.002)
            made.on_step()
        raised.append(made.bag.slide is not None)
    assert made.motor.angle_deg == pytest.approx(up_to_deg, abs=0.01)
    assert raised == [False, True]
