"""The blade on the twin: it brings the bag back, knows where it is, and stops when it cannot."""

from collections.abc import Iterable
from math import sqrt
from pathlib import Path
from statistics import fmean, stdev
from typing import Any

import msgspec
import pytest

from rig.clock import At, Task
from rig.control.stop import StopRequest
from rig.errors import BadInputError
from rig.opening import OpenRig
from rig.settings.checks import check
from rig.settings.model import Settings
from tests.control.blade_rig import (
    NO_SWITCH,
    SETTINGS,
    Series,
    make_series,
    place_often,
    soft_bag,
    with_blade,
)
from tests.runfile.example import end_of
from tests.twin_of import twin_of

FULL_CYCLE = ["homing", "placing", "dwelling", "raising", "sliding", "lowering", "parked"]


@pytest.fixture(scope="module")
def five(tmp_path_factory: pytest.TempPathFactory) -> Series:
    return make_series(tmp_path_factory.mktemp("five"), soft_bag(), 5)


def test_five_runs_go_to_the_end_and_nobody_comes_near(five: Series) -> None:
    assert five.error is None
    assert [end_of(run).outcome for run in five.runs] == ["slid"] * 5
    assert [run.header.placing for run in five.runs] == ["blade"] * 5
    assert five.pushes == [1] * 5
    for i in range(5):
        assert [event["state"] for event in five.events("state", i)] == FULL_CYCLE
    for run in five.runs:
        assert end_of(run).flags == []
        assert run.header.gap_mm == 8.0


def test_each_passage_measures_the_beam(five: Series) -> None:
    blade = five.rig.machine.settings.blade
    scenario = twin_of(five.rig).world.scenario
    for i, truth in enumerate(five.truths):
        placed = five.events("placed", i)[0]
        assert placed["tries"] == placed["pushes"] == 1
        # There the drive's play is in the count and the beam sticks; back neither is.
        expected = scenario.blade.play_mm + scenario.beam.hysteresis_mm
        assert placed["beam_hysteresis_steps"] / 20 == pytest.approx(expected, abs=0.11)
        place_mm = 590.0 + blade.thickness_mm + scenario.blade.thickness_error_mm - 300.0
        assert placed["beam_steps"] / 20 == pytest.approx(place_mm + expected / 2, abs=0.11)
        assert placed["pushed_length_mm"] == pytest.approx(
            truth.length_mm - (1.0 - truth.slump_follows) * truth.slump_mm, abs=0.3
        )


def test_the_stated_gap_is_the_true_one_within_its_uncertainty(five: Series) -> None:
    errors = []
    for i, truth in enumerate(five.truths):
        placed = five.events("placed", i)[0]
        errors.append(placed["gap_mm"] - truth.gap_placed_mm)
        # The spring-back lies anywhere in 0…2 mm: at most √3 of its standard uncertainty.
        assert abs(errors[-1]) <= sqrt(3.0) * placed["u_gap_mm"] + 0.1
    assert len({round(error, 6) for error in errors}) == 5


@pytest.mark.long
def test_over_many_placings_the_gap_is_right_on_average_and_scatters_as_stated() -> None:
    placings = place_often(soft_bag(5), 20)
    errors = [placed.gap_mm - gap_mm for placed, gap_mm in placings]
    u_gap_mm = fmean(placed.u_gap_mm for placed, _ in placings)
    assert abs(fmean(errors)) < 2.5 * u_gap_mm / sqrt(20)
    assert 0.6 * u_gap_mm < stdev(errors) < 1.4 * u_gap_mm


def test_a_bag_that_folds_once_is_shaken_out_and_pushed_again(tmp_path: Path) -> None:
    # With this seed the first push folds at this share, and the second does not.
    story = make_series(tmp_path, soft_bag(4, blade={"fold_share": 0.4}), seed=4)
    assert story.error is None
    assert story.pushes == [2]
    first, second = story.events("blade_passed")
    assert "folded" in first["trouble"]
    assert second["trouble"] is None
    placed = story.events("placed")[0]
    assert placed["tries"] == 2
    assert placed["pushed_length_mm"] > 140.0
    assert story.truths[0].length_mm > 140.0
    assert end_of(story.runs[0]).outcome == "slid"


def stops(cause: str, part: str, blade_passed: int, story: Series) -> None:
    """The series stopped for a cause, with nothing left to move and every push written down."""
    assert story.cause == cause
    assert part in str(story.error)
    run = story.runs[-1]
    assert end_of(run).outcome == "fault"
    assert "halted" in end_of(run).flags
    assert story.events("fault")[0]["cause"] == cause
    assert len(story.events("blade_passed")) == blade_passed
    assert not story.events("raise_started")


def test_a_bag_that_always_folds_stops_after_three_pushes(tmp_path: Path) -> None:
    story = make_series(tmp_path, soft_bag(blade={"fold_share": 1.0}))
    stops("bag_not_placed", "folded or piled up", 3, story)


def test_a_bag_that_springs_back_into_the_beam_is_pushed_three_times(tmp_path: Path) -> None:
    story = make_series(tmp_path, soft_bag(blade={"springback_mm": 12.0}))
    stops("bag_not_placed", "sprang back into the beam", 3, story)


def test_a_bag_that_fell_off_is_looked_for_and_missed(tmp_path: Path) -> None:
    low = msgspec.structs.replace(SETTINGS.linkage, soft_limit_deg=15.0)
    settings = msgspec.structs.replace(SETTINGS, linkage=low)
    story = make_series(tmp_path, soft_bag(bag={"lost_after": 1}), 4, settings=settings)
    stops("bag_missing", "none passed the beam", 1, story)
    assert "no bag" in story.events("blade_passed")[0]["trouble"]
    assert [end_of(run).outcome for run in story.runs] == ["slid", "fault"]
    highest = max(story.rig.machine.linkage.angle_deg(s.count) for s in story.runs[-1].steps)
    assert highest == pytest.approx(15.0, abs=0.1)


@pytest.mark.parametrize(
    ("scenario", "cause"),
    [
        ({"beam": {"is_blind": True}}, "blade_unseen"),
        ({"blade": {"jam_mm": 100.0}}, "blade_unseen"),
        ({"blade": {"jam_mm": 200.0}}, "blade_stalled"),
        ({"blade": {"jam_mm": 296.0}}, "blade_lost"),
    ],
)
def test_a_jam_or_a_blind_beam_stops_it(
    tmp_path: Path, scenario: dict[str, Any], cause: str
) -> None:
    story = make_series(tmp_path, soft_bag(**scenario))
    stops(cause, "", 0, story)


def test_with_a_park_switch_it_finds_its_place_from_anywhere(tmp_path: Path) -> None:
    story = make_series(tmp_path, soft_bag(blade={"start_mm": 60.0}))
    assert story.error is None
    assert story.blade.place_mm == pytest.approx(300.0, abs=0.3)


def test_without_a_switch_a_blade_that_is_not_parked_is_found_out_by_the_beam(
    tmp_path: Path,
) -> None:
    settings = msgspec.structs.replace(SETTINGS, pins=NO_SWITCH)
    good = make_series(tmp_path / "parked", soft_bag(), settings=settings)
    assert good.error is None
    bad = make_series(tmp_path / "away", soft_bag(blade={"start_mm": 25.0}), settings=settings)
    stops("blade_lost", "from its park position", 0, bad)


def test_a_park_switch_that_never_opens_stops_it(tmp_path: Path) -> None:
    def cut_wire(rig: OpenRig) -> Iterable[Task[Any]]:
        def task() -> Task[None]:
            assert rig.twin is not None
            pins = rig.twin.world.pins
            while True:
                pin = pins.get(4)
                if pin is not None:
                    pin.drive(False, rig.machine.clock.time_s())
                yield At(rig.machine.clock.time_s() + 0.002)

        return [task()]

    story = make_series(tmp_path, soft_bag(blade={"start_mm": 20.0}), beside=cut_wire)
    stops("blade_park", "park switch", 0, story)


def test_a_settle_tilt_raises_and_levels_the_board_before_the_dwell(tmp_path: Path) -> None:
    story = make_series(tmp_path, soft_bag(), settings=with_blade(settle_deg=5.0))
    assert story.error is None
    run = story.runs[0]
    placed_s = next(event.t_s for event in run.events if event.event == "placed")
    placing_s = next(e.t_s for e in run.events if e.detail.get("state") == "placing")
    angles = [
        story.rig.machine.linkage.angle_deg(s.count)
        for s in run.steps
        if placing_s < s.t_s <= placed_s
    ]
    assert max(angles) == pytest.approx(5.0, abs=0.02)
    assert angles[-1] == pytest.approx(0.0, abs=0.02)
    assert end_of(run).outcome == "slid"


def test_without_now_it_waits_for_start_once(tmp_path: Path) -> None:
    story = make_series(tmp_path, soft_bag(), 2, start_now=False)
    assert story.error is None
    assert story.pushes == [1, 1]


def where_the_blade_is(rig: OpenRig) -> tuple[float, int]:
    pusher = twin_of(rig).world.pusher
    assert pusher is not None
    body = pusher.body
    return body.place_mm, body.direction


AT = [(350.0, 1), (560.0, 1), (596.0, 1), (500.0, -1)]


@pytest.mark.parametrize(("place_mm", "direction"), AT)
def test_after_an_emergency_stop_the_blade_makes_no_pulse(
    tmp_path: Path, place_mm: float, direction: int
) -> None:
    pressed_s: list[float] = []

    def press(rig: OpenRig) -> Iterable[Task[Any]]:
        def task() -> Task[None]:
            clock = rig.machine.clock
            while True:
                place, way = where_the_blade_is(rig)
                is_off = rig.twin is not None and rig.twin.world.has_blade_moved
                if is_off and way == direction and (place - place_mm) * direction >= 0.0:
                    break
                yield At(clock.time_s() + 0.0031)
            assert rig.twin is not None
            pressed_s.append(clock.time_s())
            rig.twin.world.press("emergency_stop", True)

        return [task()]

    story = make_series(tmp_path, soft_bag(), beside=press)
    assert story.cause == "emergency_stop"
    assert story.blade.last_s <= pressed_s[0]
    assert pressed_s[0] - story.blade.last_s < 0.01
    assert story.events("estop")
    assert story.rig.machine.latched is not None


def test_a_stop_brakes_the_blade_smoothly(tmp_path: Path) -> None:
    asked_s: list[float] = []

    def ask(rig: OpenRig) -> Iterable[Task[Any]]:
        def task() -> Task[None]:
            clock = rig.machine.clock
            while where_the_blade_is(rig)[0] < 400.0:
                yield At(clock.time_s() + 0.01)
            asked_s.append(clock.time_s())
            rig.machine.events.put(StopRequest("a test"))

        return [task()]

    story = make_series(tmp_path, soft_bag(), beside=ask)
    assert "Stopped by a test" in str(story.error)
    assert 0.1 < story.blade.last_s - asked_s[0] < 0.6
    assert story.blade.place_mm < 410.0
    assert end_of(story.runs[0]).outcome == "stopped"


@pytest.mark.parametrize(
    ("settings", "parts"),
    [
        (
            msgspec.structs.replace(
                SETTINGS, pins=msgspec.structs.replace(SETTINGS.pins, blade_enable=None)
            ),
            ["pins.blade_enable"],
        ),
        (
            msgspec.structs.replace(
                SETTINGS, pins=msgspec.structs.replace(SETTINGS.pins, blade_step=12)
            ),
            ["pins.blade_step", "pins.step", "GPIO 12"],
        ),
        (with_blade(speed_mm_s=40.0), ["blade.overshoot_mm", "to stop"]),
        (with_blade(microsteps=32, speed_mm_s=30.0), ["pulses/s", "blade.speed_mm_s"]),
        (with_blade(overshoot_mm=9.0), ["bag.gap_mm", "11 mm"]),
        (
            msgspec.structs.replace(
                SETTINGS, board=msgspec.structs.replace(SETTINGS.board, catch_mm=150.0)
            ),
            ["blade.travel_mm", "449 mm"],
        ),
    ],
)
def test_a_blade_that_does_not_fit_is_named(settings: Settings, parts: list[str]) -> None:
    with pytest.raises(BadInputError) as caught:
        check(settings, "attic.toml")
    for part in parts:
        assert part in str(caught.value)
