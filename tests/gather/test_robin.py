from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.gather.robin import round_robin
from rig.study.folder.journal import Treatment
from tests.commands.test_gather import rig
from tests.gather.league import gathered
from tests.gather.test_read import make
from tests.study.folder_example import SOAK


@pytest.fixture
def dataset(tmp_path: Path) -> Path:
    for day, name in enumerate(("Quay", "Pier", "Mole"), start=1):
        study = make(tmp_path / "league", name, day)
    study.note(
        Treatment(at="2026-05-04T00:00:00Z", bag="Mole 1", stage="after 1", steps=SOAK),
        simulated=True,
    )
    gathered(tmp_path / "league", tmp_path / "d")
    return tmp_path / "d"


def test_a_cell_is_one_series_of_the_untreated_bag(dataset: Path) -> None:
    found = round_robin(dataset, "league 1")
    assert found.face == "slick"
    assert [len(cell.angles_deg) for cell in found.cells] == [3, 3, 3]
    assert {cell.study for cell in found.cells} == {"Quay", "Pier", "Mole"}
    assert all(cell.mean_deg == pytest.approx(23.533, abs=0.001) for cell in found.cells)
    # All three read the same: no scatter between them, and that of three readings within.
    assert found.precision.s_l == 0.0
    assert found.precision.s_r == pytest.approx(0.1528, abs=1e-3)


def test_what_can_t_be_compared_is_told(dataset: Path) -> None:
    with pytest.raises(BadInputError, match=r"known: league 1\)"):
        round_robin(dataset, "league 9")
    with pytest.raises(BadInputError, match="by 0 rig or reader"):
        round_robin(dataset, "league 1", "grip")


@pytest.mark.long
def test_the_command_shows_the_table(dataset: Path, tmp_path: Path) -> None:
    done = rig(tmp_path, "agreement", str(dataset), "--bag", "league 1")
    assert done.returncode == 0, done.stderr
    assert "s_r 0.15°" in done.stdout
    assert "s_L 0.00°" in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
