"""From files to results: what is refused, what is told, and what a table shows."""

import json
from pathlib import Path

import pytest
from msgspec.structs import replace

from rig.analysis.budget.parts import Budget
from rig.analysis.columns import format_table
from rig.analysis.friction import analyse_run
from rig.analysis.groups import make_groups
from rig.analysis.load import Analysis, analyse
from rig.analysis.table import (
    budget_rows,
    difference_rows,
    group_rows,
    run_rows,
    write_csv,
)
from rig.errors import BadInputError
from rig.runfile.model import Event
from rig.runfile.writer import RunWriter
from tests.analysis.parts import analysis, bare_run, component
from tests.calibration.example import calibration


def by_hand(folder: Path, name: str, angle_deg: float) -> Path:
    """A run file with a reading by hand: the smallest that can be analysed."""
    run = bare_run(run_id=name, source="hand")
    writer = RunWriter(folder / f"{name}.run.jsonl", run.header)
    writer.write(Event(t_s=0.0, event="hand_reading", detail={"angle_deg": angle_deg}))
    writer.end("slid", [], 0, 0)
    return writer.path


def test_a_folder_without_run_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"There is no run file \(\*\.run\.jsonl\) in"):
        analyse([tmp_path])


def test_damaged_files_are_told_and_the_others_counted(tmp_path: Path) -> None:
    by_hand(tmp_path, "a", 20.0)
    (tmp_path / "b.run.jsonl").write_bytes(b"nonsense\n")
    whole = by_hand(tmp_path, "c", 22.0).read_bytes()
    (tmp_path / "c.run.jsonl").write_bytes(whole.rsplit(b"\n", 2)[0] + b"\n")
    found = analyse([tmp_path])
    assert [run.result.onset_angle_deg for run in found.runs] == [20.0, 22.0]
    assert [any(word in told for told in found.problems) for word in ("b.run", "c.run")] == [
        True
    ] * 2
    assert len(found.problems) == 2
    assert [group.n_runs for group in found.groups] == [2]


def test_damaged_files_alone_are_refused_by_the_first_reason(tmp_path: Path) -> None:
    (tmp_path / "a.run.jsonl").write_bytes(b"")
    (tmp_path / "b.run.jsonl").write_bytes(b"nonsense\n")
    with pytest.raises(BadInputError, match=r"a\.run\.jsonl is empty"):
        analyse([tmp_path])


def test_a_run_of_the_rig_needs_a_calibration_of_its_sensor() -> None:
    with pytest.raises(BadInputError, match="no calibration of its angle sensor"):
        analyse_run(bare_run(source="rig"))
    own = calibration()
    sensor = own.sensor
    for other in (
        {"identity": "6c-0043"},
        {"address": 0x6B},
        {"model": "mpu6050"},
    ):
        run = bare_run(source="rig", calibration=replace(own, sensor=replace(sensor, **other)))
        with pytest.raises(BadInputError, match="was made with the sensor"):
            analyse_run(run, own)
    later = calibration(made_at="2026-11-01T00:00:00Z")
    assert analyse_run(bare_run(source="rig", calibration=own), later).result.flags


@pytest.mark.parametrize(("groups", "pairs"), [(6, 15), (7, 0)])
def test_pairs_of_more_than_six_groups_are_not_listed(groups: int, pairs: int) -> None:
    made = make_groups([analysis(0.4 + 0.01 * k, bag=f"bag {k}") for k in range(groups)])
    found = Analysis([], made, [])
    assert len(found.differences()) == pairs
    if pairs:
        first = found.differences()[0]
        # The earlier less the later.
        assert first.difference_mu_static == pytest.approx(-0.01)
        assert (first.a.startswith("bag 0"), first.b.startswith("bag 1")) == (True, True)


def test_budgets_are_carried_only_when_asked_for() -> None:
    runs = [
        analysis(0.4, bag="A"),
        analysis(0.5, bag="B"),
        analysis(0.5, analysed={"budget": None}),
    ]
    found = Analysis(runs, make_groups(runs), ["one was cut"])
    plain = found.document()
    assert set(plain) == {"runs", "groups", "problems"}
    assert "budget" not in plain["runs"][0]
    whole = found.document(with_budget=True)
    json.dumps(whole, allow_nan=False)
    assert [run["budget"] is None for run in whole["runs"]] == [False, False, True]
    assert [part["name"] for part in whole["groups"][0]["budget"]] == ["repeatability"]
    assert [pair["a"] for pair in whole["differences"]] == ["A 1 °/s"]
    assert whole["problems"] == ["one was cut"]


def test_a_table_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    results = [analysis(0.4).result]
    with pytest.raises(BadInputError, match="Cannot write the table"):
        write_csv(tmp_path / "none" / "t.csv", results)
    write_csv(tmp_path / "t.csv", results)
    old = (tmp_path / "t.csv").read_bytes()
    assert old.startswith(b"run_file,run_id,valid,")

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(BadInputError, match="No space left"):
        write_csv(tmp_path / "t.csv", [])
    assert (tmp_path / "t.csv").read_bytes() == old
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]


def test_a_row_says_that_it_is_not_valid_and_what_is_unknown() -> None:
    runs = [
        analysis(
            0.4, row={"u_onset_angle_deg": 0.25, "angle_at_break_deg": 22.123, "flags": ["creep"]}
        ),
        analysis(0.4, row={"valid": False, "flags": ["halted"], "onset_angle_deg": None}),
    ]
    titles, first, second = run_rows([run.result for run in runs])
    cells = dict(zip(titles, first, strict=True))
    assert (cells["angle ± u °"], cells["flags"]) == ("21.80 ± 0.25", "creep")
    assert cells["at break °"] == "22.12"
    cells = dict(zip(titles, second, strict=True))
    assert (cells["angle ± u °"], cells["flags"]) == ("–", "halted (not valid)")
    assert cells["T °C"] == "–"


def test_shares_of_a_budget_and_its_layers() -> None:
    parts = [component("gap", 0.03, dof=7.26), component("level", 0.04, "common")]
    titles, *rows = budget_rows(Budget(onset_angle_deg=20.0, components=parts))
    shown = {row[0]: dict(zip(titles, row, strict=True)) for row in rows}
    assert (shown["gap"]["share %"], shown["level"]["share %"]) == ("36.0", "64.0")
    assert (shown["gap"]["dof"], shown["level"]["dof"]) == ("7.3", "∞")
    assert [shown[f"all {layer}"]["u(θ) °"] for layer in ("run", "series", "common")] == [
        "0.0300",
        "0.0000",
        "0.0400",
    ]
    assert shown["all common"]["share %"] == "64.0"
    # (0.05/0.03)⁴·7.26.
    whole = shown["in itself (combined)"]
    assert (whole["u(θ) °"], whole["dof"]) == ("0.0500", "56.0")
    assert shown["for comparing (run, series)"]["u(θ) °"] == "0.0300"


def test_a_budget_of_nothing_has_no_shares() -> None:
    rows = budget_rows(Budget(onset_angle_deg=20.0, components=[]))
    assert rows[1] == ("all run", "", "", "", "", "0.0000", "", "", "")


def test_groups_show_their_interval_and_differences_what_cancels() -> None:
    law = component("friction law, rate-free", 0.3, "common")
    made = make_groups([analysis(mu, law, bag=bag) for mu, bag in ((0.4, "A"), (0.5, "B"))])
    titles, first, _ = group_rows([group.result for group in made])
    # One run whose 0.3° are common: 1.96·0.3·π/180·1.16.
    assert dict(zip(titles, first, strict=True))["µ static (95 %)"] == "0.4000 ± 0.0119"
    titles, *rows = difference_rows(Analysis([], made, []).differences()[0])
    by_name = {row[0]: dict(zip(titles, row, strict=True)) for row in rows}
    cells = by_name["friction law, rate-free"]
    # 0.3·π/180·(1.25 − 1.16).
    assert cells["layer"] == "common, cancels"
    assert (cells["u(µA − µB)"], cells["share %"]) == ("0.00047", "100.0")


def test_columns_stand_side_by_side() -> None:
    text = format_table([("a", "bcd"), ("efgh", "i")])
    assert text.splitlines() == ["a     bcd", "────  ───", "efgh  i"]
