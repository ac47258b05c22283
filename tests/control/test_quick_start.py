"""Quick start on the twin: fast to below the slide, then at the measuring rate."""

from pathlib import Path

import msgspec
import pytest

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.opening import open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import read_run
from rig.settings.model import CycleSettings, Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face

SETTINGS = Settings(cycle=CycleSettings(dwell_s=1.0))


def run_of(folder: Path, approach_deg: float | None, **asked: object) -> RunAnalysis:
    """One run on a bag that slides at 19.3°, by hand."""
    rig = open_twin(SETTINGS, draw_scenario(3, face=plain_face(0.35, 0.31)), 3)
    request = plan_series(SETTINGS, 1, source="twin", started=rig.machine.clock.utc_now())[0]
    request = msgspec.structs.replace(request, approach_deg=approach_deg, **asked)
    with rig:
        made = rig.run(make_runs(rig.machine, [request], folder, start_now=True))
    return analyse_run(read_run(made[0].path))


def at(analysis: RunAnalysis, name: str, state: str | None = None) -> float:
    for event in analysis.run.events:
        if event.event == name and state in (None, event.detail.get("state")):
            return event.t_s
    raise AssertionError(name)


def test_a_quick_start_finds_the_same_angle_in_less_time(tmp_path: Path) -> None:
    whole, quick = run_of(tmp_path / "whole", None), run_of(tmp_path / "quick", 14.0)
    assert quick.result.valid
    assert quick.result.flags == whole.result.flags == []
    assert quick.result.onset_angle_deg == pytest.approx(whole.result.onset_angle_deg, abs=0.03)
    assert quick.result.mu_kinetic == pytest.approx(whole.result.mu_kinetic, abs=0.01)
    times = [at(run, "beam_broken") - at(run, "state", "raising") for run in (whole, quick)]
    assert times[1] < times[0] - 7.0
    assert (whole.result.method, quick.result.method) == ("whole 1 °/s", "quick 1 °/s")
    assert (whole.result.quick_start_deg, quick.result.quick_start_deg) == (None, 14.0)
    started = quick.run.first_event("raise_started")
    assert started is not None
    assert started.detail["approach_deg"] == pytest.approx(14.0, abs=0.01)
    # 14° at 2.5 °/s and both ramps of about 0.6 s, then a rest of 0.3 s.
    assert started.t_s - at(quick, "state", "raising") == pytest.approx(14 / 2.5 + 1.0, abs=0.15)
    # The last 3° before the slide went by at the measuring rate.
    assert at(quick, "beam_broken") - started.t_s > 3.0


def test_a_bag_that_slides_in_the_quick_part_is_told_and_not_counted(tmp_path: Path) -> None:
    early = run_of(tmp_path, 25.0)
    assert early.run.end is not None
    assert early.run.end.flags == ["slid_early"]
    assert early.run.end.outcome == "slid"
    assert early.result.flags == ["slid_early"]
    assert not early.result.valid
    assert early.result.onset_angle_deg is None
    assert early.result.quick_start_deg == 25.0


def test_a_settling_raise_has_an_angle_and_does_not_count(tmp_path: Path) -> None:
    settled = run_of(tmp_path, None, settling=True, rate_deg_s=1.5)
    assert settled.run.header.settling
    assert settled.result.flags == ["settling"]
    assert not settled.result.valid
    assert settled.result.onset_angle_deg == pytest.approx(19.3, abs=0.6)
