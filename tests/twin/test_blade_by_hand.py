"""The blade's draws, its drive and what stands in the beams, to a tenth of a millimetre."""

from math import cos, hypot, radians, sin

import msgspec
import pytest

from rig.settings.model import BagSettings, Settings
from rig.twin.blade import BladeBody, Pusher, draw_push, pushed_placing, stated_gap_mm
from rig.twin.placed import PlacedBag
from rig.twin.scenario import BladeTruth
from tests.twin.test_blade import SETTINGS, drive, scenario


def test_a_skewed_bag_is_longer_and_a_folded_one_half_to_four_fifths_of_it() -> None:
    settings = msgspec.structs.replace(SETTINGS, bag=BagSettings(length_mm=150.0, width_mm=100.0))
    shares = []
    for fold, truth in ((False, scenario()), (True, scenario(fold_share=1.0))):
        for number in range(1, 200):
            draw = draw_push(1, truth, settings, number, 1)
            turn = radians(abs(draw.skew_deg))
            share = draw.length_mm / (150.0 * cos(turn) + 100.0 * sin(turn))
            assert draw.is_folded is fold
            if fold:
                shares.append(share)
            else:
                assert share == pytest.approx(1.0)
    assert (min(shares), max(shares)) == pytest.approx((0.5, 0.8), abs=0.01)


def test_skews_of_pushes_scatter_by_two_degrees_and_end_at_six() -> None:
    skews = [draw_push(1, scenario(), SETTINGS, n, 1).skew_deg for n in range(340)]
    spread = (sum(skew**2 for skew in skews) / len(skews)) ** 0.5
    assert spread == pytest.approx(2.0, rel=0.15)
    # Beyond three standard deviations there is one in 370.
    assert (min(skews), max(skews)) == (-6.0, 6.0)


def test_the_gap_of_a_push_is_blade_and_overshoot_less_the_springback() -> None:
    truth = scenario(springback_mm=1.3, thickness_error_mm=0.2)
    placing = pushed_placing(1, truth, SETTINGS, 3)
    assert placing.gap_mm == pytest.approx(3.0 + 0.2 + 6.0 - 1.3)
    draw = draw_push(1, truth, SETTINGS, 3, 1)
    assert (placing.skew_deg, placing.length_mm) == (draw.skew_deg, draw.length_mm)
    assert pushed_placing(1, scenario(springback_mm=20.0), SETTINGS, 3).gap_mm == 0.3


def test_what_the_machine_would_state_of_the_gap() -> None:
    gap, u_gap, steps = stated_gap_mm(SETTINGS, BladeTruth(play_mm=0.6))
    assert gap == 8.0
    # 0.1 mm of the thickness, 0.6 mm of the spring-back, play as an even spread.
    assert u_gap == pytest.approx(hypot(0.1, 0.6, 0.6 / 12**0.5), abs=6e-4)
    # 590 + 3 - 300 and the play, 20 pulses per mm.
    assert steps == round(20 * 293.6)


def test_it_starts_where_it_was_left_and_jams_before_its_end() -> None:
    body = BladeBody(SETTINGS, BladeTruth(start_mm=5.0, play_mm=0.0, thickness_error_mm=0.1))
    assert (body.place_mm, body.thickness_mm) == (305.0, 3.1)
    assert drive(body, -100) == 100
    assert body.place_mm == pytest.approx(300.0)
    assert drive(body, -61) == 60
    far = BladeBody(SETTINGS, BladeTruth(jam_mm=1000.0))
    assert drive(far, 9000) == 8000
    assert far.last_s == 1.0


def pusher(beams: int = 2) -> tuple[Pusher, PlacedBag]:
    truth = scenario()
    truth = msgspec.structs.replace(
        truth, beam=msgspec.structs.replace(truth.beam, spacing_error_mm=0.5, hysteresis_mm=0.2)
    )
    return Pusher(7, truth, SETTINGS, beams), PlacedBag.put(7, truth, SETTINGS, 1, 0.0, beams)


@pytest.mark.parametrize(("beam", "at_mm"), [(1, 590.0), (2, 590.0 - 50.5)])
def test_the_blade_covers_a_beam_for_its_thickness(beam: int, at_mm: float) -> None:
    made, _ = pusher()
    for above_mm, free, held in (
        (-0.3, False, False),
        (-0.1, False, True),
        (0.1, True, True),
        (2.9, True, True),
        (3.1, False, True),
        (3.3, False, False),
    ):
        made.body.place_mm = at_mm + above_mm
        assert made.covers(beam, False) is free
        assert made.covers(beam, True) is held


def test_a_bag_covers_a_beam_from_edge_to_edge() -> None:
    made, bag = pusher()
    length = bag.placing.length_mm
    for lead_mm, free, held in (
        (0.3, False, False),
        (0.1, False, True),
        (-0.1, True, True),
        (-length + 0.1, True, True),
        (-length - 0.1, False, True),
        (-length - 0.3, False, False),
    ):
        # It is laid 0.2 to 4 mm above the blade, the same for the same placing.
        made.body.place_mm = 300.0
        above_mm = made.laid(bag).placing.gap_mm + 590.0 - 300.0
        made.body.place_mm = 590.0 + lead_mm - above_mm
        laid = made.laid(bag)
        assert laid.placing.gap_mm == pytest.approx(lead_mm)
        made.body.place_mm = 300.0
        assert made.covers(1, False) is free
        assert made.covers(1, True) is held


def test_people_lay_the_bag_near_to_the_blade() -> None:
    gaps = []
    for seed in range(80):
        made = Pusher(seed, scenario(), SETTINGS, 1)
        bag = PlacedBag.put(seed, scenario(), SETTINGS, 1, 0.0, 1)
        gaps.append(made.laid(bag).placing.gap_mm + 290.0)
    assert 0.2 <= min(gaps) < 0.4
    assert 3.8 < max(gaps) <= 4.0


def test_where_a_slide_ends_is_where_the_next_push_begins() -> None:
    made, bag = pusher()
    slide = bag.raise_from(0.0)
    slide.travel_m = 0.1
    rests = made.come_to_rest(bag, 50.0)
    assert rests.placing.gap_mm == pytest.approx(bag.placing.gap_mm - 100.0)
    assert (rests.placing.number, rests.placed_s, rests.slide) == (2, 50.0, None)
    assert rests.placing.skew_deg == bag.placing.skew_deg
    assert rests.placing.length_mm == bag.placing.length_mm
    # The blade keeps it where it is, however far it has slid.
    slide.travel_m = 0.5
    assert made.come_to_rest(bag, 50.0).placing.gap_mm == pytest.approx(-290.0)


def test_a_bag_that_was_never_raised_is_not_lost() -> None:
    made, bag = pusher()
    bag.scenario = msgspec.structs.replace(
        bag.scenario, bag=msgspec.structs.replace(bag.scenario.bag, lost_after=2)
    )
    bag.raise_from(0.0).travel_m = 0.2
    assert not made.come_to_rest(bag, 1.0).is_gone
    bag.placing = msgspec.structs.replace(bag.placing, number=2)
    bag.raise_from(0.0)
    assert not made.come_to_rest(bag, 2.0).is_gone
    bag.raise_from(0.0).travel_m = 0.5e-3
    assert made.come_to_rest(bag, 3.0).is_gone
    assert Settings().blade.fitted is False
