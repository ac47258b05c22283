"""From captures to the calibration: what it takes from where, and what it notes."""

import re
from datetime import timedelta
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.calibration.captures import Rest
from rig.calibration.fit import fit_calibration
from rig.calibration.model import Calibration
from rig.calibration.plan import WAYS, LevelPlan
from rig.calibration.sensors import CLASSES
from rig.errors import BadInputError
from rig.files.stamps import parse_utc
from rig.procedures.level.finish import finish
from rig.procedures.level.progress import LevelProgress, SweepFindings
from tests.calibration.example import SENSOR
from tests.calibration.invented_rig import SCALE, InventedRig
from tests.calibration.test_six_position import positions
from tests.procedures.paper_rig import PaperRig

SWEEP = SweepFindings(
    axis_off_deg=0.1, misfit_g=1e-4, delay_ms=21.0, u_delay_ms=2.0, backlash_deg=0.01
)


def captured(rig: InventedRig | None = None, **changes: Any) -> LevelProgress:
    """All that is wanted; `changes` says otherwise."""
    rig = rig or InventedRig()
    span = {f"{one.direction} {i}": one for i, one in enumerate(rig.span())}
    values: dict[str, Any] = {
        "sensor": SENSOR,
        "started_at": "2026-11-25T08:00:00Z",
        "plan": LevelPlan(),
        "zero": rig.zero(),
        "span": span,
        "home": rig.rest(0.4),
    }
    return LevelProgress(**(values | changes))


def finished(progress: LevelProgress) -> Calibration:
    machine: Any = PaperRig()
    return finish(progress, machine)


@pytest.mark.parametrize("missing", ["zero", "home"])
def test_without_zero_or_home_there_is_no_calibration(missing: str) -> None:
    with pytest.raises(BadInputError, match="no zero yet"):
        finished(captured(**{missing: None}))


def test_it_is_due_after_the_days_of_its_plan() -> None:
    made = finished(captured(plan=LevelPlan(due_days=90)))
    assert parse_utc(made.due_at) - parse_utc(made.made_at) == timedelta(days=90)


def test_home_is_what_the_sensor_shows_there() -> None:
    rig = InventedRig(across_deg=1.5)
    made = finished(captured(rig))
    assert made.home_angle_deg == pytest.approx(0.4, abs=0.05)
    assert made.home_cross_deg == pytest.approx(1.5, abs=0.2)


def test_the_delay_is_the_sweeps_and_without_one_the_settings() -> None:
    swept, plain = finished(captured(sweep=SWEEP)), finished(captured())
    assert (swept.filter_delay_ms, swept.u_filter_delay_ms) == (21.0, 2.0)
    assert (plain.filter_delay_ms, plain.u_filter_delay_ms) == (22.0, 6.0)


def test_noise_is_that_of_one_sample_in_g() -> None:
    assert finished(captured()).noise_g == pytest.approx(8.0 / SCALE)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_play_of_the_screw_is_noted_from_a_tenth_of_a_degree(sign: float) -> None:
    for backlash_deg, is_noted in ((0.09, False), (0.11, True)):
        sweep = msgspec.structs.replace(SWEEP, backlash_deg=sign * backlash_deg)
        notes = finished(captured(sweep=sweep)).notes
        assert any("of play" in note for note in notes) is is_noted


def test_a_gyroscope_about_another_axis_is_noted() -> None:
    for off_deg, is_noted in ((None, False), (3.9, False), (4.1, True)):
        sweep = msgspec.structs.replace(SWEEP, gyro_axis_off_deg=off_deg)
        notes = finished(captured(sweep=sweep)).notes
        assert any("The gyroscope turned about an axis 4.1°" in note for note in notes) is is_noted


def test_a_hinge_that_differs_by_a_degree_is_noted_if_it_is_known_so_well() -> None:
    def is_noted(rig: InventedRig, off_deg: float) -> bool:
        sweep = msgspec.structs.replace(SWEEP, axis_off_deg=off_deg)
        return any("hinge's axis" in note for note in finished(captured(rig, sweep=sweep)).notes)

    assert not is_noted(InventedRig(), 0.99)
    assert is_noted(InventedRig(), 1.01)
    # Captures so noisy that four times the uncertainty is more than that.
    noisy = InventedRig(scatter_counts=100.0, noise_counts=0.0)
    u = fit_calibration(noisy.zero(), noisy.span(), CLASSES["lsm6dsox"], SCALE).u_axis_deg
    assert 4.0 * u > 1.1
    assert not is_noted(noisy, 3.9 * u)
    assert is_noted(noisy, 4.1 * u)


def warmer(rest: Rest, by_k: float) -> Rest:
    return msgspec.structs.replace(rest, temperature_c=rest.temperature_c + by_k)


def test_six_positions_count_only_where_they_are_planned_and_less_at_another_warmth() -> None:
    rig = InventedRig()
    held = dict(zip((f"six {way}" for way in WAYS), positions(rig), strict=True))

    def u_bias_g(plan: LevelPlan, warmer_k: float) -> float:
        rests = {name: warmer(rest, warmer_k) for name, rest in held.items()}
        made = finished(captured(InventedRig(), plan=plan, positions=rests))
        return float(np.sqrt(made.covariance[1][1]))

    six = LevelPlan(six=True)
    assert u_bias_g(LevelPlan(), 0.0) > 0.005
    assert u_bias_g(six, 0.0) < 3e-4
    # 10 K of 0.1 mg/K is 1 mg, whichever was the warmer.
    for warmer_k in (10.0, -10.0):
        assert u_bias_g(six, warmer_k) == pytest.approx(1e-3, rel=0.1)


def test_a_drift_counts_only_where_a_second_temperature_is_planned() -> None:
    rig = InventedRig()
    cold = rig.rest(0.4)
    warm = warmer(cold, 10.0)
    warm = msgspec.structs.replace(warm, counts=(cold.counts[0] + 0.002 * SCALE, *cold.counts[1:]))
    plain = finished(captured(cold=cold, warm=warm))
    assert plain.drift_g_per_k == (0.0, 0.0, 0.0)
    assert plain.u_drift_g_per_k == 1e-4
    made = finished(captured(cold=cold, warm=warm, plan=LevelPlan(second_temperature=True)))
    assert made.drift_g_per_k == pytest.approx((2e-4, 0.0, 0.0), abs=1e-9)
    assert made.u_drift_g_per_k == pytest.approx(2e-5, rel=0.2)


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (LevelPlan(reference="digital", stated_error_deg=0.3), "digital level, ±0.3° stated"),
        (LevelPlan(bar_length_mm=250.0), "sine bar of 250 mm .* ±0.05 mm"),
    ],
)
def test_the_reference_is_named(plan: LevelPlan, words: str) -> None:
    assert re.search(words, finished(captured(plan=plan)).reference)
