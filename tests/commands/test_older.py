"""Studies written before checksums: they open, and say the numbers that they always said."""

import csv
import io
import shutil
from pathlib import Path

import pytest

from tests.commands.conftest import Rig

OLDER = Path(__file__).parents[1] / "study" / "older"

BEFORE_DEG = (20.0, 20.5, 21.0, 21.5, 20.5, 21.0, 21.5, 22.0)
AFTER_DEG = (22.5, 23.0, 23.0, 23.5, 20.5, 21.0, 21.0, 21.5)
ANGLES_DEG = {
    "rig_only": [19.5673, 20.4219, 19.9781, 20.9299, 22.1401, 22.9540, 19.9277, 21.0131],
    "mixed_rates": [19.5673, 19.8606, 21.8936, 20.0026, 20.0278, 20.0, 21.0],
    "by_hand": [*BEFORE_DEG, *AFTER_DEG],
}
"""By the posterior over laws of friction; the closed solution by Coulomb's law alone, which these
raises at 3 °/s were first read with, gave 0.28 to 0.30° more, at 1.5 °/s 0.20°."""
UNCHECKED = {
    "rig_only": "8 run files and 3 journal lines were written without a checksum (before 0.2",
    "mixed_rates": "5 run files and 2 journal lines were written without a checksum (before 0.2",
    "by_hand": "10 journal lines were written without a checksum (before 0.2",
}
EFFECTS_DEG = {
    "rig_only": (22.1401 + 22.9540 - 19.5673 - 20.4219 - 19.9277 - 21.0131 + 19.9781 + 20.9299) / 2,
    "mixed_rates": 21.8936 - 19.5673 - 20.0026 + 19.8606,
    "by_hand": (22.5 + 23.0 + 23.0 + 23.5 - 20.0 - 20.5 - 21.0 - 21.5) / 4 - (0.0 - 0.5 - 0.5) / 4,
}
"""Of the soak: changes of the treated bags less those of the controls, the run at another rate
left out."""


@pytest.fixture
def folder(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    name: str = request.param
    return Path(shutil.copytree(OLDER / name, tmp_path / name))


each = pytest.mark.parametrize("folder", sorted(ANGLES_DEG), indirect=True)


@each
def test_slides_are_exported_as_they_were_measured(rig: Rig, folder: Path) -> None:
    said = rig("study", "export", str(folder))
    assert (said.code, said.err) == (0, "")
    rows = list(csv.DictReader(io.StringIO(said.out)))
    assert [float(row["onset_angle_deg"]) for row in rows] == pytest.approx(
        ANGLES_DEG[folder.name], abs=1e-4
    )
    assert {row["valid"] for row in rows} == {"true"}
    assert {row["treatments"] for row in rows if row["treatment_stage"] == "after 1"} >= {"soft"}


@each
def test_status_says_once_that_there_is_no_checksum(rig: Rig, folder: Path) -> None:
    said = rig("study", "status", str(folder))
    assert said.code == 0
    assert said.err.startswith(UNCHECKED[folder.name])
    assert said.err.count("checksum") == 1
    assert said.out.startswith("Next: ")
    assert f"{folder.name.replace('_', ' ')}: 5 bags, 1 board, " in said.out
    assert "damaged" not in said.out


@each
def test_compare_says_what_the_soak_did(rig: Rig, folder: Path) -> None:
    """The model draws a difference of few slides towards none, and its range holds it."""
    (effect,) = rig("compare", str(folder), "--json").document["treatments"]
    assert effect["recipe"] == "soft"
    difference_deg = EFFECTS_DEG[folder.name]
    assert 0.0 < effect["effect_deg"] < difference_deg
    assert effect["lower_deg"] < difference_deg < effect["upper_deg"]


@pytest.mark.parametrize("folder", ["mixed_rates", "rig_only"], indirect=True)
def test_analyse_finds_the_angles(rig: Rig, folder: Path) -> None:
    said = rig("analyse", str(folder), "--json")
    assert UNCHECKED[folder.name] in said.err
    angles = [run["onset_angle_deg"] for run in said.document["runs"]]
    assert angles == pytest.approx(ANGLES_DEG[folder.name][: len(angles)], abs=1e-4)
    plain = rig("analyse", str(folder / "runs"))
    assert f"{len(angles)} run files were written without a checksum" in plain.err


@pytest.mark.parametrize("folder", ["by_hand"], indirect=True)
def test_one_of_readings_by_hand_has_nothing_to_analyse(rig: Rig, folder: Path) -> None:
    said = rig("analyse", str(folder))
    assert said.code == 2
    assert "has no run yet" in said.err
