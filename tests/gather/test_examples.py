"""The examples of DATASET.md give what they should in the engines that are installed."""

import json
import re
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

import rig.gather
from tests.gather.league import gathered, make_league, rows_in

PAGE = Path(rig.gather.__file__).with_name("DATASET.md").read_text("utf-8")


@pytest.fixture
def dataset(tmp_path: Path) -> Path:
    make_league(tmp_path / "league")
    gathered(tmp_path / "league", tmp_path / "d")
    return tmp_path / "d"


def example(mark: str, dataset: Path) -> str:
    (found,) = re.findall(rf"```\w+\n({re.escape(mark)}\n.*?)```", PAGE, re.DOTALL)
    return str(found).replace("DATASET", str(dataset))


def wanted(dataset: Path) -> dict[tuple[str | None, str, str], tuple[int, object]]:
    angles: dict[tuple[str | None, str, str], list[float]] = {}
    for row in rows_in(dataset):
        if row["valid"]:
            key = row["rig"], row["bag"], row["face"]
            angles.setdefault(key, []).append(row["onset_angle_deg"])
    return {key: (len(of), pytest.approx(sum(of) / len(of))) for key, of in angles.items()}


def test_duckdb(dataset: Path) -> None:
    duckdb = pytest.importorskip("duckdb")
    with duckdb.connect() as database:
        rows = database.execute(example("-- duckdb", dataset)).fetchall()
    assert {tuple(row[:3]): tuple(row[3:]) for row in rows} == wanted(dataset)


def test_polars(dataset: Path) -> None:
    if find_spec("polars") is None:
        pytest.skip("polars is not installed")
    # In a process of its own, for polars keeps threads and a variable.
    program = f"{example('# polars', dataset)}\nimport json; print(json.dumps(angles.rows()))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    rows = json.loads(done.stdout)
    assert {tuple(row[:3]): tuple(row[3:]) for row in rows} == wanted(dataset)


def test_every_column_of_several_studies_is_on_the_page() -> None:
    from rig.gather.schema import MORE, PARTITIONS

    assert all(f"`{name}`" in PAGE for name in (*MORE, *PARTITIONS))
