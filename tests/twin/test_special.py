"""Slides that go wrong: each leaves the edges and flags that it would leave on a real rig."""

from pathlib import Path
from typing import Any

import pytest

from rig.runfile.model import End, Event
from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.receivers import SUN_FROM_DEG
from rig.twin.scenario import Scenario, Truth
from tests.fastsim.run import simulate_run
from tests.teeth import without
from tests.twin.full_run import full_runs

SETTINGS = Settings()
STEADY = {"skew_deg": 1.0, "gap_mm": 8.0, "slump_mm": 1.5}


def scenario(**sections: dict[str, Any]) -> Scenario:
    base = without(draw_scenario(1, face=plain_face(0.4, 0.36)))
    return changed(base, **{"bag": STEADY | sections.pop("bag", {})}, **sections)


def outcome(made: Scenario, **more: Any) -> tuple[list[Event], End, Truth]:
    lines, truth = simulate_run(SETTINGS, made, 1, **more)
    end = lines[-1]
    assert isinstance(end, End)
    return [line for line in lines if isinstance(line, Event)], end, truth


def edges(events: list[Event]) -> list[str]:
    return [e.event for e in events if e.event.startswith("beam")]


def since_raise_s(events: list[Event], name: str) -> list[float]:
    start = next(e.t_s for e in events if e.event == "raise_started")
    return [e.t_s - start for e in events if e.event == name]


def test_an_ordinary_slide() -> None:
    events, end, truth = outcome(scenario())
    assert edges(events) == ["beam_broken", "beam_clear"]
    assert (end.outcome, end.flags) == ("slid", [])
    assert truth.onset_angle_deg == pytest.approx(21.8014, abs=1e-3)


def test_slump_larger_than_the_gap() -> None:
    events, end, truth = outcome(scenario(bag={"gap_mm": 2.0, "slump_mm": 3.5}))
    assert edges(events) == ["beam_broken", "beam_clear"]
    assert "edge_crept" in end.flags
    (broken,), (clear,) = (since_raise_s(events, f"beam_{n}") for n in ("broken", "clear"))
    assert truth.onset_angle_deg is not None
    # At 1 °/s the beam breaks degrees before the slide, and clears after it.
    assert broken < truth.onset_angle_deg - 3.0
    assert truth.onset_angle_deg < clear < truth.onset_angle_deg + 2.0
    assert truth.gap_mm < 0.0


def test_stall_in_mid_slide() -> None:
    events, end, truth = outcome(scenario(bag={"stall_at_mm": 60.0}))
    assert edges(events) == ["beam_broken", "beam_clear"]
    assert "edge_crept" in end.flags
    (broken,), (clear,) = (since_raise_s(events, f"beam_{n}") for n in ("broken", "clear"))
    assert clear - broken > SETTINGS.cycle.clear_timeout_s
    assert "stalled_in_slide" in end.flags
    assert truth.onset_angle_deg == pytest.approx(21.8014, abs=1e-3)


def test_catch_before_the_clear_edge() -> None:
    events, end, truth = outcome(scenario(bag={"catch_travel_mm": 90.0}))
    assert edges(events) == ["beam_broken"]
    assert "stalled_in_slide" in end.flags
    assert truth.is_caught
    ended = since_raise_s(events, "raise_ended")[0]
    assert ended == pytest.approx(SETTINGS.linkage.soft_limit_deg, abs=1.0)


def test_skew_makes_the_passage_longer() -> None:
    straight, turned = (outcome(scenario(bag={"skew_deg": s})) for s in (0.0, 4.0))
    # 152·cos 4° + 152·sin 4° = 162.2 mm.
    assert turned[2].length_mm - straight[2].length_mm == pytest.approx(10.2, abs=0.1)

    def passage(events: list[Event]) -> float:
        return since_raise_s(events, "beam_clear")[0] - since_raise_s(events, "beam_broken")[0]

    assert passage(turned[0]) > passage(straight[0]) + 0.01


def test_warped_board_grazes_the_beam_and_the_slide_comes_later() -> None:
    events, end, truth = outcome(scenario(beam={"warp_break_deg": 9.0, "warp_clear_deg": 13.5}))
    # The crown takes longer than any bag; the slide comes later, and on the way down the crown.
    assert edges(events) == ["beam_broken", "beam_clear"] * 3
    assert "edge_crept" in end.flags
    crown, bag, _ = since_raise_s(events, "beam_broken")
    assert crown == pytest.approx(9.0, abs=0.4)
    assert truth.onset_angle_deg is not None
    assert bag > truth.onset_angle_deg
    assert since_raise_s(events, "raise_ended")[0] < bag + 2.0


def test_board_that_stays_in_the_beam_hides_the_slide() -> None:
    events, end, truth = outcome(scenario(beam={"warp_break_deg": 12.0}))
    # Only the lowering brings the crown out of the beam again.
    assert edges(events) == ["beam_broken", "beam_clear"]
    assert since_raise_s(events, "beam_clear") > since_raise_s(events, "raise_ended")
    assert {"edge_crept", "stalled_in_slide"} <= set(end.flags)
    assert truth.onset_angle_deg is not None


def test_sun_that_blinds_the_receiver_to_the_bag() -> None:
    events, end, truth = outcome(scenario(beam={"sun": "stuck_clear"}))
    assert edges(events) == []
    assert (end.outcome, end.flags) == ("no_slide", ["no_slide"])
    # It did slide: only nobody saw it.
    assert truth.onset_angle_deg == pytest.approx(21.8014, abs=1e-3)


def test_sun_that_looks_like_a_broken_beam() -> None:
    events, end, _ = outcome(scenario(beam={"sun": "stuck_broken"}))
    assert edges(events) == ["beam_broken", "beam_clear"]
    assert since_raise_s(events, "beam_clear") > since_raise_s(events, "raise_ended")
    assert since_raise_s(events, "beam_broken")[0] == pytest.approx(SUN_FROM_DEG, abs=0.4)
    assert "stalled_in_slide" in end.flags


def test_sun_that_flickers_breaks_and_clears_the_beam() -> None:
    events, _, _ = outcome(scenario(beam={"sun": "flicker"}))
    assert edges(events)[:2] == ["beam_broken", "beam_clear"]
    first = since_raise_s(events, "beam_broken")[0]
    assert SUN_FROM_DEG - 0.2 < first < 38.5


def test_too_sticky_to_slide() -> None:
    made = changed(draw_scenario(1, face=plain_face(1.1, 1.0)), bag=STEADY)
    events, end, truth = outcome(made)
    assert edges(events) == []
    assert (end.outcome, end.flags) == ("no_slide", ["no_slide"])
    assert truth.onset_angle_deg is None


def test_floor_and_hinge_are_part_of_the_inclination() -> None:
    flat = {"floor_along_deg": 0.0, "floor_across_deg": 0.0, "hinge_cross_deg": 0.0}
    plain = outcome(scenario(board=flat))
    tilted = outcome(scenario(board=flat | {"floor_along_deg": 1.0, "hinge_cross_deg": 2.0}))
    assert tilted[2].onset_angle_deg == pytest.approx(plain[2].onset_angle_deg, abs=1e-6)
    sooner = since_raise_s(plain[0], "beam_broken")[0] - since_raise_s(tilted[0], "beam_broken")[0]
    # One degree of floor, and 2° of cross slope that are worth 0.09° at 22°.
    assert sooner == pytest.approx(1.09, abs=0.03)


def test_on_the_full_twin_slump_and_warp_look_the_same(tmp_path: Path) -> None:
    made = scenario(
        bag={"gap_mm": 2.0, "slump_mm": 3.5}, beam={"warp_break_deg": 6.0, "warp_clear_deg": 8.0}
    )
    fast_events, fast_end, fast_truth = outcome(made)
    runs, twin = full_runs(tmp_path, SETTINGS, made, 1)
    full = read_run(runs[0].path)
    assert edges(full.events) == edges(fast_events)
    for name in ("beam_broken", "beam_clear"):
        # In the raise; when the lowering begins depends on when the cycle looks.
        got, expected = since_raise_s(full.events, name)[:2], since_raise_s(fast_events, name)[:2]
        assert got == pytest.approx(expected, abs=0.012)
    assert full.end is not None
    assert full.end.flags == fast_end.flags
    (truth,) = twin.truths
    assert truth.onset_angle_deg == pytest.approx(fast_truth.onset_angle_deg, abs=0.003)
