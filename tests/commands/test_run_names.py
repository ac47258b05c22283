"""Names given to `rig run` beside a study: a misspelt one is never taken silently."""

import io
from pathlib import Path
from typing import Any

import pytest

from rig.commands.run.names import check_names, study_beside
from rig.errors import BadInputError
from rig.study.folder.catalogue import Bag
from rig.study.folder.catalogue_file import add_table
from tests.commands.conftest import Rig
from tests.study.folder_example import make_study


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A study with a bag `Odd` whose faces are `rough` and `smooth`, beside the usual ones."""
    monkeypatch.chdir(tmp_path)
    make_study(tmp_path / "shed")
    add_table(
        tmp_path / "shed" / "study.toml", "bags", "Odd", Bag(faces={"rough": "", "smooth": ""})
    )
    return tmp_path / "shed"


def refusal(
    folder: Path, bag: str = "T1", face: str = "slick", board: str = "A", *, new: bool = False
) -> str:
    try:
        check_names(folder, bag, face, board, new=new)
    except BadInputError as refused:
        return str(refused)
    return ""


def test_names_of_the_study_are_taken(study: Path) -> None:
    assert refusal(study / "runs") == ""
    assert refusal(study / "runs", bag="Odd", face="rough") == ""


@pytest.mark.parametrize(
    ("given", "near"),
    [
        ({"bag": "t1"}, "no bag 't1'; did you mean 'T1'?"),
        ({"face": "slik"}, "no face 'slik'; did you mean 'slick'?"),
        ({"board": "AA"}, "no board 'AA'; did you mean 'A'?"),
        ({"bag": "Odd", "face": "roug"}, "no face 'roug'; did you mean 'rough'?"),
        ({"bag": "Heron", "face": "smoot"}, "no bag 'Heron' (known: "),
        ({"bag": "Odd", "face": "slick"}, "no face 'slick' (known: rough, smooth)"),
        ({"board": "shed"}, "no board 'shed' (known: A"),
    ],
)
def test_another_name_is_refused_and_new_takes_it(study: Path, given: Any, near: str) -> None:
    told = refusal(study / "runs", **given)
    assert near in told
    assert told.endswith("--new takes it as a new name.")
    assert refusal(study / "runs", new=True, **given) == ""


def test_a_new_bag_may_have_a_face_of_any_bag(study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", Terminal("yes\n"))
    assert refusal(study, bag="Heron", face="smooth") == ""


@pytest.mark.parametrize(("typed", "taken"), [("y\n", True), ("Yes\n", True), ("\n", False)])
def test_at_a_terminal_a_person_may_say_that_a_name_is_new(
    study: Path, monkeypatch: pytest.MonkeyPatch, typed: str, taken: bool
) -> None:
    monkeypatch.setattr("sys.stdin", Terminal(typed))
    told = refusal(study, bag="Heron")
    assert (told == "") is taken
    assert taken or "type it again, or add it with `rig study bag`" in told
    # A near name is a slip, whatever one is ready to say yes to.
    monkeypatch.setattr("sys.stdin", Terminal("y\n"))
    assert "did you mean" in refusal(study, bag="t1")


def test_the_study_is_that_of_the_run_files_and_else_that_of_the_working_folder(
    study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert study_beside(study / "runs") == study
    assert study_beside(tmp_path / "elsewhere") is None
    assert refusal(tmp_path / "elsewhere", bag="t1") == ""
    monkeypatch.chdir(study / "runs")
    assert study_beside(tmp_path / "elsewhere") == study
    make_study(tmp_path / "other")
    assert study_beside(tmp_path / "other" / "runs") == tmp_path / "other"


def test_a_run_with_a_misspelt_bag_makes_no_file(rig: Rig, study: Path) -> None:
    words = ("run", "--twin", "--now", "--out", "shed/runs", "--face", "slick", "--board", "A")
    said = rig(*words, "--bag", "t1")
    assert (said.code, "did you mean 'T1'" in said.err) == (2, True)
    assert not [*(study / "runs").iterdir()]
    assert rig(*words, "--bag", "t1", "--new").code == 0
    assert [*(study / "runs").iterdir()]
