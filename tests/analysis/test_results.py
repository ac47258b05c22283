"""Climate, budgets, groups, tables and loading."""

import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.analysis.climate import run_climate
from rig.analysis.columns import format_table
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import group_runs, trend_p
from rig.analysis.load import analyse
from rig.analysis.row import RunResult
from rig.analysis.table import budget_rows, csv_text, group_rows, run_rows, write_csv
from rig.errors import BadInputError
from rig.runfile.model import Climate, Event, Samples, Steps
from rig.runfile.writer import RunWriter
from tests.analysis.slides import one_beam, run_file, slide
from tests.calibration.example import calibration

KEYS = (
    "run_file run_id valid bag face set board treatment_stage session series slide_number "
    "onset_angle_deg u_onset_angle_deg mu_static u_mu_static mu_kinetic u_mu_kinetic "
    "angle_at_break_deg onset_method rate_deg_s dwell_s gap_mm bag_length_mm cross_slope_deg "
    "temperature_c u_temperature_c relative_humidity_pct u_relative_humidity_pct "
    "absolute_humidity_g_m3 dew_point_c surface_humidity_pct flags outcome friction_law "
    "u_onset_angle_absolute_deg u_mu_static_absolute mu_kinetic_speed_m_s method purpose"
    " quick_start_deg raised_by"
).split()
"""The contract's keys in its order; what the project adds comes after them."""


def _analysis(mu: float = 0.45, **changes: Any) -> RunAnalysis:
    true = slide(mu, mu - 0.05, 1.0, [8.0, 160.0])
    return analyse_run(run_file(1.0, one_beam(true.edges_s), noise_counts=5.0, **changes))


def _air(t_s: float, temperature: float, humidity: float) -> Climate:
    return Climate(
        t_s=t_s,
        temperature_c=temperature,
        relative_humidity_pct=humidity,
        pressure_hpa=1010.0,
        board_temperature_c=50.0,
        board_temperature_source="surface",
    )


def test_the_result_has_the_keys_of_the_contract_in_order() -> None:
    assert [info.encode_name for info in msgspec.structs.fields(RunResult)] == KEYS
    text = msgspec.json.encode(_analysis().result).decode()
    assert list(json.loads(text)) == KEYS


def test_climate_is_the_mean_of_the_raise_with_the_sensors_uncertainty() -> None:
    lines = [_air(0.0, 10.0, 90.0), *(_air(10.0 + k, 30.0, 50.0) for k in range(5))]
    climate = run_climate(lines, 9.0, 20.0)
    assert climate.temperature_c == 30.0
    assert climate.u_temperature_c == pytest.approx(1.0 / math.sqrt(3.0))
    assert climate.u_relative_humidity_pct == pytest.approx(3.0 / math.sqrt(3.0))
    assert not climate.drifted
    # Air of 30 °C and 50 % over a board at 50 °C: vapour 2123 Pa of 12351 Pa.
    assert climate.surface_humidity_pct == pytest.approx(17.2, abs=0.1)
    assert run_climate(lines, 0.0, 20.0).drifted
    assert run_climate([], 0.0, 1.0).temperature_c is None


def test_drifting_air_is_flagged() -> None:
    analysis = _analysis(climate=[_air(10.0 + k, 20.0 + 0.2 * k, 50.0) for k in range(12)])
    assert analysis.result.flags == ["climate_drift"]


def test_the_budget_has_its_parts_in_three_layers() -> None:
    analysis = _analysis()
    budget = analysis.budget
    assert budget is not None
    names = {part.name for part in budget.components}
    assert {"ramp fit", "filter delay", "gap", "length and skew", "calibration", "level"} <= names
    assert {"temperature", "friction law", "friction law, rate-free"} <= names
    assert "crown of the board" in names
    layers = [budget.u_onset_angle_deg((layer,)) for layer in ("run", "series", "common")]
    whole = budget.u_onset_angle_deg()
    assert whole == pytest.approx(math.sqrt(sum(u * u for u in layers)))
    assert analysis.result.u_onset_angle_absolute_deg == pytest.approx(whole)
    assert analysis.result.u_onset_angle_deg == pytest.approx(math.hypot(*layers[:2]))
    # 3 ms of filter delay at 1 °/s are 0.003°; 0.02° of level are 0.02°.
    parts = {part.name: part for part in budget.components}
    assert parts["filter delay"].u_theta_deg == pytest.approx(0.003, rel=0.02)
    assert parts["level"].u_theta_deg == pytest.approx(0.02, rel=0.02)
    # At µs − µk = 0.05 and 1 °/s a gap that is 1 mm larger lowers the angle by about 0.02°.
    assert parts["gap"].sensitivity == pytest.approx(-0.02, abs=0.007)
    assert "in itself (combined)" in format_table(budget_rows(budget))


def test_noise_shows_in_the_ramps_uncertainty() -> None:
    true = slide(0.45, 0.4, 1.0, [8.0, 160.0])
    errors, stated = [], []
    for seed in range(12):
        run = run_file(1.0, one_beam(true.edges_s), noise_counts=60.0, seed=seed)
        analysis = analyse_run(run)
        assert analysis.budget is not None
        assert analysis.result.onset_angle_deg is not None
        errors.append(analysis.result.onset_angle_deg - true.onset_deg)
        stated.append(analysis.budget.components[0].u_theta_deg)
    assert np.std(errors, ddof=1) == pytest.approx(np.mean(stated), rel=0.6)


def test_another_calibration_changes_the_angle() -> None:
    true = slide(0.45, 0.4, 1.0, [8.0, 160.0])
    run = run_file(1.0, one_beam(true.edges_s))
    tilted = calibration(
        filter_delay_ms=22.0,
        level=(math.sin(math.radians(0.5)), 0.0, math.cos(math.radians(0.5))),
    )
    plain, other = analyse_run(run).result, analyse_run(run, tilted).result
    assert plain.onset_angle_deg is not None
    assert other.onset_angle_deg is not None
    assert plain.onset_angle_deg - other.onset_angle_deg == pytest.approx(0.5, abs=1e-3)


def test_overdue_calibration_and_floor_tilt_are_flagged() -> None:
    assert _analysis(started_at="2028-01-01T00:00:00Z").result.flags == ["calibration_overdue"]
    from rig.runfile.model import Event

    home = Event(t_s=1.0, event="home_reading", detail={"angle_deg": 0.5, "cross_deg": 0.0})
    assert _analysis(extra=[home]).result.flags == ["floor_tilt", "sensor_slipped"]


def test_one_series_is_this_mounting_this_hour() -> None:
    runs = [
        _analysis(mu, bag="A", slide_number=k, session="s", series="1")
        for k, mu in enumerate((0.47, 0.46, 0.455, 0.45, 0.45), start=1)
    ]
    (group,) = group_runs(runs)
    assert (group.n_runs, group.n_series, group.n_sessions) == (5, 1, 1)
    assert group.scope == "this mounting, this hour"
    assert group.u_series is None
    # At 1 °/s a law that is not known takes up to 0.1° off all of them alike.
    early = [0.457 - group.mean_mu_static, 0.47 - (group.first or 0.0)]
    early += [0.455 - (group.third or 0.0), 0.45 - (group.rest or 0.0)]
    assert 0.001 < early[0] < 0.005
    assert early == pytest.approx([early[0]] * 4, abs=2e-4)
    # Standard deviation of the five values over the root of five.
    assert group.u_repeat == pytest.approx(0.0083666 / math.sqrt(5.0), rel=0.05)
    assert group.trend_p is not None
    assert group.trend_p < 0.05
    assert group.expanded_mu_static > group.k * group.u_common
    assert "this mounting" in format_table(group_rows([group]))


def test_series_and_sessions_are_no_independent_runs() -> None:
    runs = [
        _analysis(mu + shift, bag="A", session=session, series=series)
        for session, series, shift in (("a", "1", 0.0), ("a", "2", 0.02), ("b", "1", 0.05))
        for mu in (0.44, 0.45)
    ]
    (group,) = group_runs(runs)
    assert (group.n_runs, group.n_series, group.n_sessions) == (6, 3, 2)
    assert group.u_series is not None
    means = np.array([0.455, 0.495])
    u_mean = means.std(ddof=1) / math.sqrt(2.0)
    assert math.hypot(group.u_repeat, group.u_series) == pytest.approx(u_mean, rel=0.03)
    assert group.mean_mu_static == pytest.approx(0.475, abs=4e-3)
    assert group.k > 4.0


def test_groups_part_by_climate_and_leave_invalid_runs_out() -> None:
    warm = [_air(12.0, 31.0, 74.0)]
    cold = [_air(12.0, 12.0, 32.0)]
    runs = [
        _analysis(0.45, bag="A", session="cold", climate=cold),
        _analysis(0.50, bag="A", session="hot", climate=warm),
        _analysis(0.60, bag="A", session="hot", climate=warm, flags=["halted"]),
    ]
    groups = group_runs(runs)
    assert [group.n_runs for group in groups] == [1, 1]
    assert [group.temperature_c for group in groups] == [12.0, 31.0]


def test_trend_agrees_with_scipys_regression() -> None:
    stats = pytest.importorskip("scipy.stats")
    y = [0.50, 0.47, 0.47, 0.45, 0.46]
    points = [(float(k), value) for k, value in enumerate(y)]
    assert trend_p([points]) == pytest.approx(stats.linregress(range(5), y).pvalue)
    assert trend_p([points[:3]]) is None


def _write(folder: Path, name: str, edges: list[tuple[float, str, int]]) -> Path:
    run = run_file(1.0, edges, run_id=name, bag="A, the first")
    writer = RunWriter(folder / f"{name}.run.jsonl", run.header)
    lines: list[Event | Samples | Steps] = [*run.events, *run.samples, *run.steps]
    for line in sorted(lines, key=lambda line: line.t_s):
        writer.write(line)
    writer.end("slid", [], 0, 0)
    return writer.path


def test_folders_are_loaded_and_damaged_files_told(tmp_path: Path) -> None:
    true = slide(0.45, 0.4, 1.0, [8.0, 160.0])
    whole = _write(tmp_path, "a", one_beam(true.edges_s))
    (tmp_path / "a.truth.json").write_text("not read")
    data = whole.read_bytes()
    (tmp_path / "b.run.jsonl").write_bytes(data[: len(data) * 2 // 3])
    (tmp_path / "c.run.jsonl").write_bytes(b"nonsense\n")
    analysis = analyse([tmp_path])
    assert len(analysis.runs) == 2
    assert [run.result.valid for run in analysis.runs] == [True, False]
    assert any("no last line" in problem for problem in analysis.problems)
    assert any("not a run file" in problem for problem in analysis.problems)
    document = analysis.document(with_budget=True)
    json.dumps(document)
    budget = document["runs"][0]["budget"]
    assert budget[0]["name"] == "friction law, rate-free"
    assert [line["u_theta_deg"] for line in budget] == sorted(
        (line["u_theta_deg"] for line in budget), reverse=True
    )
    with pytest.raises(BadInputError, match="not a run file"):
        analyse([tmp_path / "c.run.jsonl"])
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadInputError, match=r"no run file \(\*"):
        analyse([tmp_path / "empty"])


def test_a_run_without_calibration_is_told(tmp_path: Path) -> None:
    run = run_file(1.0, [], end_s=3.0)
    run.header = msgspec.structs.replace(run.header, calibration=None)
    with pytest.raises(BadInputError, match="--calibration"):
        analyse_run(run)


def test_the_table_is_tidy(tmp_path: Path) -> None:
    results = [_analysis(bag="A, the first").result, _analysis(flags=["halted"]).result]
    rows = list(csv.DictReader(io.StringIO(csv_text(results))))
    assert list(rows[0]) == KEYS
    assert rows[0]["bag"] == "A, the first"
    escaped = csv_text([msgspec.structs.replace(results[0], bag="@A")])
    assert next(csv.DictReader(io.StringIO(escaped)))["bag"] == "'@A"
    assert float(rows[0]["mu_static"]) == results[0].mu_static
    assert (rows[1]["valid"], rows[1]["flags"], rows[1]["bag"]) == ("false", "halted", "")
    write_csv(tmp_path / "t.csv", results)
    assert (tmp_path / "t.csv").read_text(encoding="utf-8") == csv_text(results)
    with pytest.raises(BadInputError, match="Cannot write the table"):
        write_csv(tmp_path / "none" / "t.csv", results)
    assert "not valid" in format_table(run_rows(results))
