"""Slides on a board that a hand raised: what they give, and which are refused."""

import math

import msgspec
import numpy as np
import pytest

from rig.analysis.budget.parts import LAW_FLOOR_DEG, RATE_FREE_DEG
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.raised_by_hand import most_felt_deg
from rig.runfile.reader import RunFile
from rig.settings.model import MotionSettings, Settings
from rig.sliding import most_pace_off
from rig.twin.draws import draw_scenario
from rig.twin.scenario import HandTruth
from tests.fastsim.hand_run import HandRun, simulate_hand_run

SETTINGS = Settings(motion=MotionSettings(raised_by="hand"))
STEADY = HandTruth(pauses_per_s=0.0, jerks_per_s=0.0)


def made(seed: int = 5, rate_deg_s: float = 1.0, **hand: float) -> HandRun:
    true = draw_scenario(seed, law="slip_weakening")
    true = msgspec.structs.replace(true, hand=msgspec.structs.replace(STEADY, **hand))
    return simulate_hand_run(SETTINGS, true, seed, rate_deg_s=rate_deg_s)


def parts(found: RunAnalysis) -> dict[str, float]:
    assert found.budget is not None
    return {part.name: part.u_theta_deg for part in found.budget.components}


def test_a_steady_hand_gives_the_angle() -> None:
    one = made()
    found = analyse_run(one.run)
    row = found.result
    assert row.valid
    assert row.raised_by == "hand"
    assert row.onset_angle_deg is not None
    assert row.u_onset_angle_deg is not None
    assert one.truth.onset_angle_deg is not None
    off = row.onset_angle_deg - one.truth.onset_angle_deg
    assert abs(off) < 2.0 * row.u_onset_angle_deg
    assert row.u_onset_angle_deg < 0.25
    assert {"pace of the hand", "jerks of the hand", "uneven raise at the onset"} <= set(
        parts(found)
    )


def test_a_jerk_at_the_onset_is_refused() -> None:
    calm = analyse_run(made().run).result
    assert calm.onset_angle_deg is not None
    found = analyse_run(made(jerk_at_deg=calm.onset_angle_deg - 0.4, jerk_deg_s=4.0).run)
    assert "jerked" in found.result.flags
    assert not found.result.valid


def test_a_jerk_long_before_is_none() -> None:
    found = analyse_run(made(jerk_at_deg=6.0, jerk_deg_s=2.0).run).result
    assert found.valid
    assert "jerked" not in found.flags


@pytest.mark.parametrize(("slowness", "is_off"), [(0.2, False), (0.55, True), (-0.6, True)])
def test_a_pace_beyond_the_laws_own_error_is_refused(slowness: float, is_off: bool) -> None:
    found = analyse_run(made(slowness=slowness, ripple=0.02, pace_sd=0.0).run)
    assert ("pace_off" in found.result.flags) == is_off
    assert found.result.valid != is_off


def test_the_limit_of_the_pace_is_the_floor_of_the_law() -> None:
    """0.42/3·r^(1/3)·x = 0.05·r^(2/3): 36 % at 1 °/s, by hand."""
    assert most_pace_off(1.0) == pytest.approx(0.357, abs=0.001)
    assert most_pace_off(0.5) == pytest.approx(0.283, abs=0.001)
    for rate in (0.5, 1.0, 3.0):
        moved = RATE_FREE_DEG / 3.0 * rate ** (1 / 3) * most_pace_off(rate)
        assert moved == pytest.approx(LAW_FLOOR_DEG * rate ** (2 / 3), rel=0.002)


def test_the_limit_of_a_jerk_is_five_times_the_floor_of_the_law() -> None:
    """0.25° at 1 °/s: a board of 25° under a bag 0.67 m up may speed up by 8.6 °/s²."""
    assert most_felt_deg(1.0) == pytest.approx(0.25)
    alpha = math.radians(0.25) * 9.80665 / (0.67 * math.sin(math.radians(25.0)))
    assert math.degrees(alpha) == pytest.approx(8.66, abs=0.05)


def test_the_budget_of_a_slower_pace_holds_what_the_rate_may_do() -> None:
    found = parts(analyse_run(made(slowness=0.2, ripple=0.0, pace_sd=0.0, tremor_g=0.0).run))
    assert found["pace of the hand"] == pytest.approx(0.42 / 3.0 * 0.2, rel=0.15)


def test_without_the_gyroscope_there_is_no_angle() -> None:
    run = made().run
    run.samples = [msgspec.structs.replace(s, gyro_counts=msgspec.UNSET) for s in run.samples]
    row = analyse_run(run).result
    assert row.onset_angle_deg is None
    assert "angle_sensor_fault" in row.flags


def cut(run: RunFile, *, from_s: float = -math.inf, to_s: float = math.inf) -> RunFile:
    """The run with the samples of this time alone."""
    lines = []
    for line in run.samples:
        kept = [i for i in range(len(line.counts)) if from_s <= line.t_s + i * line.dt_s <= to_s]
        if kept and line.gyro_counts:
            part = slice(kept[0], kept[-1] + 1)
            lines.append(
                msgspec.structs.replace(
                    line,
                    t_s=line.t_s + kept[0] * line.dt_s,
                    counts=line.counts[part],
                    gyro_counts=line.gyro_counts[part],
                )
            )
    run.samples = lines
    return run


def edges(run: RunFile) -> list[float]:
    return [event.t_s for event in run.events if event.event.startswith("beam_")]


def test_samples_that_end_before_the_last_edge_give_no_angle() -> None:
    run = made().run
    row = analyse_run(cut(run, to_s=edges(run)[-1] - 0.08)).result
    assert "angle_sensor_fault" in row.flags
    assert row.onset_angle_deg is None


def test_samples_that_begin_just_before_the_slide_are_a_fault() -> None:
    run = made().run
    row = analyse_run(cut(run, from_s=edges(run)[0] - 2.4)).result
    assert "angle_sensor_fault" in row.flags


def test_a_knock_that_the_smoother_cannot_follow_is_a_jerk() -> None:
    """0.13° for four samples, six deviations of the noise, as seen by the accelerometer alone."""
    run = made().run
    calibration = run.header.calibration
    assert calibration is not None
    onset_s = analyse_run(run).solved.onset_s  # type: ignore[union-attr]
    uphill = np.cross(calibration.axis, calibration.level)
    tilt = math.radians(0.13) / math.cos(math.radians(25.0))
    knock = np.rint(uphill * tilt * calibration.counts_per_g).astype(int)
    late_s = calibration.filter_delay_ms / 1000.0
    lines = []
    for line in run.samples:
        counts = [
            tuple((np.array(c) + knock).tolist())
            if abs(line.t_s + i * line.dt_s - late_s - onset_s) < 0.01
            else c
            for i, c in enumerate(line.counts)
        ]
        lines.append(msgspec.structs.replace(line, counts=counts))
    assert "jerked" not in analyse_run(run).result.flags
    run.samples = lines
    assert "jerked" in analyse_run(run).result.flags
