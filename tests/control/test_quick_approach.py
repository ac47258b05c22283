"""A quick approach: fast to below the slide, then at the measuring rate."""

from pathlib import Path

import msgspec
import pytest

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.opening import open_twin
from rig.procedures.quick import QuickApproach, quick_approach_deg
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import read_run
from rig.settings.model import CycleSettings, Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face

SETTINGS = Settings(cycle=CycleSettings(dwell_s=1.0))


def run_of(folder: Path, approach_deg: float | None) -> RunAnalysis:
    """One run on a bag that slides at 19.3°, by hand."""
    rig = open_twin(SETTINGS, draw_scenario(3, face=plain_face(0.35, 0.31)), 3)
    request = plan_series(SETTINGS, 1, source="twin", started=rig.machine.clock.utc_now())[0]
    request = msgspec.structs.replace(request, approach_deg=approach_deg)
    with rig:
        made = rig.run(make_runs(rig.machine, [request], folder, start_now=True))
    return analyse_run(read_run(made[0].path))


def at(analysis: RunAnalysis, name: str, state: str | None = None) -> float:
    for event in analysis.run.events:
        if event.event == name and state in (None, event.detail.get("state")):
            return event.t_s
    raise AssertionError(name)


def test_a_quick_run_finds_the_same_angle_in_less_time(tmp_path: Path) -> None:
    whole, quick = run_of(tmp_path / "whole", None), run_of(tmp_path / "quick", 14.0)
    assert quick.result.valid
    assert quick.result.flags == whole.result.flags == []
    assert quick.result.onset_angle_deg == pytest.approx(whole.result.onset_angle_deg, abs=0.03)
    assert quick.result.mu_kinetic == pytest.approx(whole.result.mu_kinetic, abs=0.01)
    times = [at(run, "beam_broken") - at(run, "state", "raising") for run in (whole, quick)]
    assert times[1] < times[0] - 7.0
    assert quick.run.header.approach_deg == 14.0
    started = quick.run.first_event("raise_started")
    assert started is not None
    assert started.detail["approach_deg"] == pytest.approx(14.0, abs=0.01)
    # The last 3° before the slide went by at the measuring rate.
    assert at(quick, "beam_broken") - started.t_s > 3.0


def test_a_bag_that_slides_in_the_approach_is_not_counted(tmp_path: Path) -> None:
    early = run_of(tmp_path, 25.0)
    assert early.run.end is not None
    assert "moved_before_raise" in early.run.end.flags
    assert not early.result.valid


def test_the_approach_ends_well_below_the_slides_so_far() -> None:
    assert quick_approach_deg([]) is None
    assert quick_approach_deg([17.0, 17.2]) is None
    assert quick_approach_deg([17.0, 17.0, 17.0]) == pytest.approx(17.0 - 3.0 - 0.9)
    wide = quick_approach_deg([16.0, 17.0, 18.0])
    assert wide == pytest.approx(17.0 - 3.0 - 3.0)
    assert quick_approach_deg([5.0, 5.1, 4.9]) is None


def fed(whole: list[float], quick: list[float]) -> QuickApproach:
    rule = QuickApproach()
    for a, b in zip(whole, quick, strict=True):
        rule.take(a, was_quick=False)
        rule.take(b, was_quick=True)
    return rule


def test_quick_and_whole_runs_are_made_in_turns_until_the_verdict() -> None:
    rule, made = QuickApproach(), []
    while rule.verdict is None:
        approach = rule.next_deg()
        made.append(approach is not None)
        rule.take(17.0 + 0.1 * (len(made) % 3), was_quick=made[-1])
    assert made[:6] == [False, False, False, True, False, True]
    assert made.count(True) == 10
    assert made.count(False) == 12
    assert "agree:" in rule.verdict
    assert rule.next_deg() is not None


def test_quick_runs_that_differ_end_the_quick_approach() -> None:
    rule = fed([17.0 + 0.05 * k for k in range(10)], [17.8 + 0.05 * k for k in range(10)])
    assert rule.verdict is not None
    assert "not shown to agree" in rule.verdict
    assert rule.next_deg() is None
