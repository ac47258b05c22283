"""Odd runs end in a valid later slide or a clear flag, never in a wrong angle."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

import msgspec
import pytest

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.runfile.model import Event
from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Truth
from tests.analysis.slides import RAISE_S, one_beam, run_file, slide, two_beams
from tests.fastsim.run import simulate_run, write_run
from tests.teeth import without

GAP, LENGTH = 8.0, 152.0
DISTANCES = [GAP, GAP + LENGTH]


def simulated(
    folder: Path,
    seed: int,
    *,
    rate: float = 1.0,
    beams: Literal[1, 2] = 1,
    gap_mm: float = 8.0,
    **odd: dict[str, Any],
) -> tuple[RunAnalysis, Truth]:
    settings = Settings()
    bag = msgspec.structs.replace(settings.bag, gap_mm=gap_mm)
    settings = msgspec.structs.replace(settings, bag=bag)
    scenario = changed(without(draw_scenario(seed, face=plain_face(0.4, 0.35))), **odd)
    lines, truth = simulate_run(settings, scenario, seed, rate_deg_s=rate, beams=beams, dwell_s=2.0)
    return analyse_run(read_run(write_run(folder, lines, truth))), truth


def is_right(analysis: RunAnalysis, truth: Truth) -> bool:
    """The angle lies within four standard uncertainties of this rig."""
    return truth.onset_angle_deg is not None and is_near(analysis, truth.onset_angle_deg)


def is_near(analysis: RunAnalysis, true_deg: float) -> bool:
    """The same for a slide whose truth is known otherwise."""
    row, budget = analysis.result, analysis.budget
    if row.onset_angle_deg is None or budget is None:
        return False
    u = budget.u_onset_angle_deg(without=("friction law, rate-free", "crown of the board"))
    return abs(row.onset_angle_deg - true_deg) < 4.0 * u


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("rate", [0.5, 1.0, 2.5])
def test_slump_larger_than_the_gap(tmp_path: Path, rate: float, seed: int) -> None:
    odd: dict[str, Any] = {"bag": {"slump_mm": 4.0, "gap_mm": 3.0}}
    one, _ = simulated(tmp_path, seed, rate=rate, gap_mm=3.0, **odd)
    assert not one.result.valid
    assert {"edge_crept", "gap_unknown", "beam_fault"} <= set(one.result.flags)
    two, truth = simulated(tmp_path, seed, rate=rate, beams=2, gap_mm=3.0, **odd)
    assert two.result.valid
    assert "edge_crept" in two.result.flags
    assert is_right(two, truth)


@pytest.mark.parametrize("beams", [1, 2])
@pytest.mark.parametrize("spot", [(60.0, 0.8), (20.0, 0.3), (2.0, 0.3)])
def test_a_bag_that_stalls(tmp_path: Path, spot: tuple[float, float], beams: Literal[1, 2]) -> None:
    odd: dict[str, Any] = {"bag": {"stall_at_mm": spot[0], "stall_gain": spot[1]}}
    for rate in (0.3, 1.0):
        analysis, truth = simulated(tmp_path, 4, rate=rate, beams=beams, **odd)
        assert not analysis.result.valid or is_right(analysis, truth)


@pytest.mark.parametrize("rate", [0.5, 1.0, 2.0])
def test_a_bag_on_the_catch_before_the_clear_edge(tmp_path: Path, rate: float) -> None:
    odd: dict[str, Any] = {"bag": {"catch_travel_mm": 100.0}}
    one, _ = simulated(tmp_path, 5, rate=rate, **odd)
    assert not one.result.valid
    assert "stalled_in_slide" in one.result.flags
    two, truth = simulated(tmp_path, 5, rate=rate, beams=2, **odd)
    assert "stalled_in_slide" in two.result.flags
    assert is_right(two, truth)


def test_skew(tmp_path: Path) -> None:
    odd: dict[str, Any] = {"bag": {"skew_deg": 12.0}}
    one, truth = simulated(tmp_path, 6, **odd)
    assert is_right(one, truth)
    two, truth = simulated(tmp_path, 6, beams=2, **odd)
    assert is_right(two, truth)
    assert "skew_suspected" in two.result.flags
    straight, _ = simulated(tmp_path, 6, beams=2, bag={"skew_deg": 2.0})
    assert "skew_suspected" not in straight.result.flags


@pytest.mark.parametrize("beams", [1, 2])
@pytest.mark.parametrize(
    "beam",
    [
        {"warp_break_deg": 10.0},
        {"warp_break_deg": 10.0, "warp_clear_deg": 10.6},
        {"warp_break_deg": 10.0, "warp_clear_deg": 12.0},
        {"warp_break_deg": 19.0, "warp_clear_deg": 30.0},
        {"warp_break_deg": -0.3},
        {"sun": "stuck_clear"},
        {"sun": "stuck_broken"},
        {"sun": "flicker"},
    ],
)
def test_a_warped_board_and_sun_on_the_beam(
    tmp_path: Path, beam: dict, beams: Literal[1, 2]
) -> None:
    for seed, rate in ((7, 0.4), (8, 1.0), (9, 2.5)):
        analysis, truth = simulated(tmp_path, seed, rate=rate, beams=beams, beam=beam)
        assert not analysis.result.valid or is_right(analysis, truth)
        assert analysis.result.flags


def test_a_pass_that_a_later_slide_follows() -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    hand = [(12.0, "beam_broken", 1), (12.12, "beam_clear", 1)]
    analysis = analyse_run(run_file(1.0, [*hand, *one_beam(true.edges_s)]))
    assert analysis.result.valid
    assert "early_disturbance" in analysis.result.flags
    assert is_near(analysis, true.onset_deg)
    slump = [(12.0, "beam_broken", 1), (19.0, "beam_clear", 1)]
    analysis = analyse_run(run_file(1.0, [*slump, *one_beam(true.edges_s)]))
    assert analysis.result.valid
    assert analysis.result.flags == ["edge_crept"]
    assert is_near(analysis, true.onset_deg)


def test_a_bouncing_edge_is_one_edge() -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    broken, clear = true.edges_s
    bounce = [
        (broken, "beam_broken", 1),
        (broken + 0.004, "beam_clear", 1),
        (broken + 0.009, "beam_broken", 1),
        (clear, "beam_clear", 1),
    ]
    bounced = analyse_run(run_file(1.0, bounce))
    assert bounced.result.flags == []
    plain = analyse_run(run_file(1.0, one_beam(true.edges_s)))
    assert bounced.result.onset_angle_deg == plain.result.onset_angle_deg


def test_chatter_is_a_beam_fault() -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    chatter = [
        (15.0 + 0.2 * k + 0.01 * j, event, 1)
        for k in range(8)
        for j, event in enumerate(("beam_broken", "beam_clear"))
    ]
    row = analyse_run(run_file(1.0, [*chatter, *one_beam(true.edges_s)])).result
    assert not row.valid
    assert "beam_fault" in row.flags


def test_a_second_beam_that_saw_nothing_is_a_beam_fault() -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    row = analyse_run(run_file(1.0, one_beam(true.edges_s), beams=2)).result
    assert not row.valid


def test_edges_on_the_way_down_are_a_beam_fault() -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    down = RAISE_S + true.edges_s[1] + 3.0
    extra = [Event(t_s=down, event="beam_broken", detail={"beam": 1})]
    row = analyse_run(run_file(1.0, one_beam(true.edges_s), extra=extra)).result
    assert row.flags == ["beam_fault"]


@pytest.mark.parametrize(
    ("extra", "flag"),
    [
        ([(-3.0, "beam_broken")], "moved_before_raise"),
        ([(-8.0, "beam_broken")], "beam_fault"),
        ([(-3.0, "beam_broken"), (-2.0, "beam_clear")], "early_disturbance"),
        ([(-8.0, "beam_broken"), (-7.0, "beam_clear")], None),
    ],
)
def test_edges_before_the_raise(extra: Sequence[tuple[float, str]], flag: str | None) -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    events = [Event(t_s=RAISE_S + t, event=name, detail={"beam": 1}) for t, name in extra]
    row = analyse_run(run_file(1.0, one_beam(true.edges_s), extra=events)).result
    assert row.flags == ([flag] if flag else [])


def test_no_edge_and_an_unfinished_raise() -> None:
    row = analyse_run(run_file(1.0, [], end_s=40.0, outcome="no_slide")).result
    assert (row.valid, row.flags, row.onset_angle_deg) == (False, ["no_slide"], None)
    run = run_file(1.0, [], end_s=10.0)
    run.end = None
    row = analyse_run(run).result
    assert (row.valid, row.flags, row.outcome) == (False, ["halted"], "interrupted")


def test_lost_steps_and_a_frozen_sensor() -> None:
    true = slide(0.45, 0.4, 1.0, DISTANCES)
    edges = one_beam(true.edges_s)
    row = analyse_run(run_file(1.0, edges, lost_steps_deg=2.0)).result
    assert row.flags == ["step_loss"]
    frozen = run_file(1.0, edges)
    frozen.samples = [
        line
        if line.t_s < RAISE_S + 20.0
        else msgspec.structs.replace(line, counts=[(0, 0, 16393)] * 52)
        for line in frozen.samples
    ]
    assert "angle_sensor_fault" in analyse_run(frozen).result.flags
    for until_s in (2.0, 12.0, true.edges_s[0] - 1.0):
        silent = run_file(1.0, edges)
        silent.samples = [line for line in silent.samples if line.t_s < RAISE_S + until_s]
        row = analyse_run(silent).result
        assert not row.valid
        assert "angle_sensor_fault" in row.flags


def test_placed_overrides_the_plan_and_a_missing_gap_is_flagged() -> None:
    true = slide(0.45, 0.4, 1.0, [4.0, 4.0 + LENGTH])
    placed = [Event(t_s=4.0, event="placed", detail={"gap_mm": 4.0, "u_gap_mm": 0.3, "tries": 1})]
    analysis = analyse_run(run_file(1.0, one_beam(true.edges_s), extra=placed))
    assert analysis.result.gap_mm == 4.0
    assert is_near(analysis, true.onset_deg)
    unknown = run_file(1.0, one_beam(true.edges_s), gap_mm=None, u_gap_mm=None)
    analysis = analyse_run(unknown)
    assert analysis.result.flags == ["gap_unknown"]
    assert is_near(analysis, true.onset_deg)


def test_a_reading_taken_by_hand() -> None:
    run = run_file(1.0, [], source="hand", calibration=None)
    run.events = [
        Event(t_s=0.0, event="hand_reading", detail={"angle_deg": 21.8, "u_angle_deg": 0.4})
    ]
    row = analyse_run(run).result
    assert (row.onset_method, row.valid, row.onset_angle_deg) == ("by_hand", True, 21.8)
    assert row.u_mu_static == pytest.approx(0.4 * 0.017453 / 0.862, rel=0.01)


def test_two_beams_find_a_gap_that_is_off_by_far() -> None:
    # The bag lay 6 mm further from the beam than was stated, as ± 1 mm.
    true = slide(0.45, 0.4, 1.0, [14.0, 64.0, 166.0, 216.0])
    analysis = analyse_run(run_file(1.0, two_beams(true.edges_s), beams=2))
    assert {"creep", "slumped"} & set(analysis.result.flags)
    assert is_near(analysis, true.onset_deg)
