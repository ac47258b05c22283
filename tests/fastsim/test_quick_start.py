"""A raise with a quick start, without pins and through them."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.runfile.model import Event, Line
from rig.runfile.reader import read_run
from rig.settings.checks import quick_rate_deg_s
from rig.settings.model import CycleSettings, Pins, Screw, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Truth
from tests.fastsim.run import simulate_run, write_run
from tests.teeth import without
from tests.twin.full_run import full_runs

SETTINGS = Settings(cycle=CycleSettings(dwell_s=2.0), pins=Pins(beam_2=18))
# It slides at 19.3°.
SCENARIO = without(draw_scenario(3, face=plain_face(0.35, 0.31)))


def made(
    folder: Path, approach_deg: float | None, settings: Settings = SETTINGS, rate: float = 0.3
) -> tuple[list[Line], Truth, RunAnalysis]:
    lines, truth = simulate_run(settings, SCENARIO, 3, rate_deg_s=rate, approach_deg=approach_deg)
    return lines, truth, analyse_run(read_run(write_run(folder, lines, truth)))


def at(lines: Sequence[Line], name: str, state: str | None = None) -> float:
    return next(
        line.t_s
        for line in lines
        if isinstance(line, Event)
        and line.event == name
        and state in (None, line.detail.get("state"))
    )


def test_a_quick_start_finds_the_same_angle_sooner(tmp_path: Path) -> None:
    whole, plain, slow = made(tmp_path, None)
    lines, truth, quick = made(tmp_path, 16.0)
    assert truth.onset_angle_deg == pytest.approx(plain.onset_angle_deg, abs=1e-6)
    assert quick.result.flags == slow.result.flags == []
    assert quick.result.onset_angle_deg == pytest.approx(slow.result.onset_angle_deg, abs=0.03)
    assert (quick.result.method, quick.result.quick_start_deg) == ("quick 0.3 °/s", 16.0)
    # 16° at 2.5 °/s and two ramps of about 0.6 s, where the driver takes 21 ms; then a rest.
    raising, begun = at(lines, "state", "raising"), at(lines, "raise_started")
    assert begun - raising == pytest.approx(16.0 / 2.5 + 1.0, abs=0.15)
    took = [at(one, "beam_broken") - at(one, "state", "raising") for one in (lines, whole)]
    assert took[0] < took[1] - 40.0


def test_the_pulses_bound_the_quick_part(tmp_path: Path) -> None:
    fine = Settings(cycle=SETTINGS.cycle, screw=Screw(lead_mm=1.6))
    rate = quick_rate_deg_s(fine)
    assert rate < 1.5
    lines, _, _ = made(tmp_path, 16.0, fine)
    begun = at(lines, "raise_started") - at(lines, "state", "raising")
    assert begun == pytest.approx(16.0 / rate + 0.8, abs=0.5)


@pytest.mark.parametrize("approach_deg", [19.5, 25.0])
def test_a_slide_in_the_quick_part_is_told(tmp_path: Path, approach_deg: float) -> None:
    lines, truth, early = made(tmp_path, approach_deg)
    assert early.result.flags == ["slid_early"]
    assert early.result.onset_angle_deg is None
    assert truth.onset_angle_deg == pytest.approx(19.29, abs=0.03)
    begun = at(lines, "raise_started")
    assert begun > at(lines, "beam_broken")
    # Where it has passed by then, there is no measured raise.
    has_passed = at(lines, "beam_clear") < begun
    assert has_passed == (approach_deg == 25.0)
    assert (at(lines, "raise_ended") < begun + 0.02) == has_passed


@pytest.mark.long
@pytest.mark.parametrize("approach_deg", [16.0, 19.5, 25.0])
def test_the_full_twin_agrees(tmp_path: Path, approach_deg: float) -> None:
    asked: dict[str, Any] = {"approach_deg": approach_deg, "rate_deg_s": 0.3}
    scenario = draw_scenario(3, face=plain_face(0.35, 0.31))
    calibration = calibration_for(scenario, SETTINGS, 3)
    runs, twin = full_runs(tmp_path / "full", SETTINGS, scenario, 3, **asked)
    real = read_run(runs[0].path)
    lines, fast = simulate_run(SETTINGS, scenario, 3, calibration=calibration, **asked)
    quick = analyse_run(read_run(write_run(tmp_path, lines, fast))).result
    (full,) = twin.truths
    assert full.onset_angle_deg == pytest.approx(fast.onset_angle_deg, abs=0.004)
    assert full.crept_mm == pytest.approx(fast.crept_mm, abs=0.01)
    slow = analyse_run(real).result
    assert slow.flags == quick.flags
    if slow.onset_angle_deg is not None:
        assert slow.onset_angle_deg == pytest.approx(quick.onset_angle_deg, abs=0.02)
    since = [
        at(found, name) - at(found, "state", "raising")
        for found in (real.events, lines)
        for name in ("raise_started", "beam_broken", "beam_clear", "raise_ended")
    ]
    assert since[:4] == pytest.approx(since[4:], abs=0.05)
