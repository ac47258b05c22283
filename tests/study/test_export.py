import csv
import io
import sys
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

from rig.errors import BadInputError
from rig.files.cells import plain_cell
from rig.settings.model import Settings
from rig.study.export import columns, csv_text, export_rows, write_table_parquet
from rig.study.folder.study import Study
from rig.twin.draws import draw_scenario
from rig.twin.fabric import Face
from tests.fastsim.run import encode_lines, simulate_run
from tests.study.folder_example import make_study


def slide(study: Study, seed: int, mu: float | None = None, **header: Any) -> None:
    """A simulated run in the study's folder; one with a great `mu` does not slide."""
    face = None if mu is None else Face(mu_static_dry=mu, mu_kinetic_dry=mu, humidity_gain=0.1)
    scenario = draw_scenario(seed, face=face)
    values: dict[str, Any] = {"bag": "T1", "face": "slick", "board": "A", "session": "s"}
    values["series"] = f"{seed}"
    lines, _ = simulate_run(Settings(), scenario, seed, **(values | header))
    folder = study.runs_path / "2026-05-01"
    folder.mkdir(exist_ok=True)
    (folder / f"{seed}.run.jsonl").write_bytes(encode_lines(lines))


@pytest.fixture
def studies(tmp_path: Path) -> list[Path]:
    one, other = make_study(tmp_path / "one"), make_study(tmp_path / "two")
    slide(one, 1, bag_mass_g=441.5, rig="bench")
    slide(one, 2, bag="C1", treatment_stage="after 1", rig="bench")
    slide(other, 3, rig="barn")
    slide(other, 4, mu=2.0, rig="bench")
    return [one.path, other.path]


def test_several_studies_and_rigs_become_one_table(studies: list[Path]) -> None:
    rows, problems = export_rows(studies)
    assert not problems
    assert [row["rig"] for row in rows] == ["bench", "bench", "barn", "bench"]
    assert [row["role"] for row in rows] == ["treated", "control", "treated", "treated"]
    assert [row["treatment"] for row in rows] == ["soft", None, "soft", "soft"]
    assert [row["treatment_stage"] for row in rows] == ["baseline", "after 1", *["baseline"] * 2]
    assert [row["valid"] for row in rows] == [True, True, True, False]
    assert rows[0]["bag_mass_g"] == 441.5
    assert rows[0]["run_file"] == "runs/2026-05-01/1.run.jsonl"
    assert all(list(row) == list(columns()) for row in rows)
    assert all(5.0 < row["onset_angle_deg"] < 45.0 for row in rows[:3])


def test_units_are_in_the_names_of_the_columns() -> None:
    known = ("_deg", "_mm", "_g", "_s", "_c", "_pct", "_g_m3", "_h", "_deg_s")
    unitless = {"u_mu_static_absolute", "mu_static", "u_mu_static", "mu_kinetic", "u_mu_kinetic"}
    for name, kind in columns().items():
        assert kind is not float or name.endswith(known) or name in unitless


def test_csv_says_the_same_as_the_rows(studies: list[Path]) -> None:
    rows, _ = export_rows(studies)
    read = list(csv.DictReader(io.StringIO(csv_text(rows))))
    assert len(read) == len(rows)
    for cells, row in zip(read, rows, strict=True):
        for key, value in row.items():
            if isinstance(value, bool):
                assert cells[key] == str(value).lower()
            elif isinstance(value, float):
                assert float(cells[key]) == value
            else:
                assert cells[key] == ("" if value is None else str(value))


def test_parquet_keeps_values_and_types(studies: list[Path], tmp_path: Path) -> None:
    rows, _ = export_rows(studies)
    path = tmp_path / "t.parquet"
    write_table_parquet(path, rows)
    table = pq.read_table(path)
    assert table.to_pylist() == rows
    assert str(table.schema.field("conditioned_h").type) == "double"
    assert str(table.schema.field("slides_before").type) == "int64"
    assert str(table.schema.field("valid").type) == "bool"


def test_parquet_without_its_extra_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(BadInputError, match=r"pip install 'rig\[export\]'"):
        write_table_parquet(tmp_path / "t.parquet", [])
    assert not (tmp_path / "t.parquet").exists()


def test_what_cannot_be_exported_is_told(studies: list[Path], tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="is named twice"):
        export_rows([studies[0], studies[0] / ".." / "one"])
    empty = make_study(tmp_path / "empty")
    with pytest.raises(BadInputError, match="has no slide to export yet"):
        export_rows([empty.path])
    (studies[0] / "runs" / "broken.run.jsonl").write_text("{")
    rows, problems = export_rows(studies[:1])
    assert len(rows) == 2
    assert len(problems) == 1


def test_a_name_that_a_spreadsheet_would_run_is_escaped(studies: list[Path]) -> None:
    rows, _ = export_rows(studies)
    row = rows[0] | {"rig": "=1+1", "operator": "@home", "cross_slope_deg": -0.25}
    read = next(csv.DictReader(io.StringIO(csv_text([row]))))
    assert (read["rig"], read["operator"]) == ("'=1+1", "'@home")
    assert float(read["cross_slope_deg"]) == -0.25
    assert plain_cell(read["rig"]) == "=1+1"
