import shutil
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.files.lock import locked
from rig.gather import batch, run
from rig.gather.run import gather
from rig.gather.schema import columns
from rig.gather.tokens import Tokens
from rig.study.export import export_rows
from rig.study.folder.journal import Correction
from rig.study.folder.study import Study
from tests.gather.league import NAMES, TOKENS, gathered, make_league, parts_of, rows_in
from tests.study.folder_example import add_run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "league"


@pytest.fixture
def club(folder: Path) -> Study:
    return make_league(folder)


def test_rows_are_those_of_the_slide_table(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d", tokens=NAMES)
    wanted, _ = export_rows([club.path])
    rows = [row for row in rows_in(tmp_path / "d") if row["study"] is not None]
    assert len(rows) == len(wanted) == 6
    for row, want in zip(rows, wanted, strict=True):
        assert {name: row[name] for name in want} == want
    # Both corrections, the treatment and the throws are in them.
    assert [row["bag"] for row in rows] == ["T1", "C2", "T1", "C2", "T1", "T1"]
    assert [row["valid"] for row in rows] == [True, True, True, False, True, True]
    assert [row["treatments"] for row in rows] == ["", "", "soft", "", "soft", "soft"]
    assert [row["treatment_lines"] for row in rows] == ["", "", "2", "", "2", "2"]
    assert [row["throws_before"] for row in rows] == [0, 0, 40, 0, 40, 40]


def test_every_column_has_its_type_and_its_unit(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d")
    for row in rows_in(tmp_path / "d"):
        assert row.keys() == columns().keys() | {"rig", "month"}
        for name, kind in columns().items():
            assert row[name] is None or type(row[name]) is kind
    known = ("_deg", "_mm", "_g", "_s", "_c", "_pct", "_g_m3", "_h", "_deg_s")
    plain = {"u_mu_static_absolute", "mu_static", "u_mu_static", "mu_kinetic", "u_mu_kinetic"}
    assert all(n.endswith(known) or n in plain for n, kind in columns().items() if kind is float)


def test_nobody_is_named_in_the_dataset(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d")
    rows = rows_in(tmp_path / "d")
    assert {row["reader"] for row in rows} == {None, TOKENS.person("Anna")}
    assert TOKENS.person("Bert") in {row["operator"] for row in rows}
    assert {row["void"] for row in rows} == {None, "taken out"}
    for path in (tmp_path / "d").rglob("*"):
        data = path.read_bytes() if path.is_file() else b""
        assert not any(name in data for name in (b"Anna", b"Bert", b"league", bytes(folder)))


def test_names_stay_where_that_is_wanted(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d", tokens=NAMES)
    rows = rows_in(tmp_path / "d")
    assert {row["reader"] for row in rows} == {None, "Anna"}
    assert {row["void"] for row in rows} == {None, "Bert fell"}


def test_a_second_gather_reads_nothing_and_changes_nothing(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    first = gathered(folder, tmp_path / "d")
    before = parts_of(tmp_path / "d")
    second = gathered(folder, tmp_path / "d")
    assert (first.n_files, first.n_read, second.n_read) == (6, 6, 0)
    assert parts_of(tmp_path / "d") == before
    assert gathered(folder, tmp_path / "d", reread=True).n_read == 6
    assert parts_of(tmp_path / "d") == before


def test_only_what_is_new_is_read(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d")
    add_run(club, "C1", "2026-05-09T09:00:00Z")
    found = gathered(folder, tmp_path / "d")
    assert (found.n_read, found.n_slides) == (1, 8)


def test_a_line_in_the_journal_changes_rows_without_reading_a_run(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    gathered(folder, tmp_path / "d")
    club.note(Correction(at="2026-05-06T09:00:00Z", runs=("run 0000",), void=True), simulated=True)
    assert gathered(folder, tmp_path / "d").n_read == 0
    rows = {row["slide_id"]: row for row in rows_in(tmp_path / "d")}
    assert len(rows) == 7
    assert not rows["run 0000"]["valid"]


def test_a_bad_file_is_listed_and_the_rest_counts(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    found = gathered(folder, tmp_path / "d")
    (bad,) = [one for one in found.problems if one.is_left_out]
    assert bad.path == f"{folder}/loose/b.run.jsonl"
    assert "is not a run file" in bad.sentence
    told = (tmp_path / "d" / "problems.csv").read_text()
    assert "b.run.jsonl,true," in told
    assert len(rows_in(tmp_path / "d")) == found.n_slides == 7


def test_a_file_that_breaks_the_analysis_is_listed(
    club: Study, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(path: Path, data: bytes) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(batch, "kept_in", broken)
    found = gathered(folder, tmp_path / "d")
    assert "can't be analysed (ZeroDivisionError)" in found.problems[0].sentence


def test_a_damaged_study_is_listed_and_the_others_count(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    club.catalogue_path.write_text("nonsense")
    found = gathered(folder, tmp_path / "d")
    assert found.n_slides == 1
    assert any("is not valid TOML" in one.sentence for one in found.problems)


def test_a_copy_of_a_study_or_a_run_counts_once(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d")
    before = parts_of(tmp_path / "d")
    shutil.copytree(club.path, folder / "backup")
    (folder / "backup" / "journal.jsonl").unlink()
    shutil.copytree(folder / "loose", folder / "loose 2")
    shutil.copytree(club.runs_path, folder / "loose 3")
    found = gathered(folder, tmp_path / "d")
    assert any("is a copy of" in note for note in found.notes)
    assert any("copies of runs" in note for note in found.notes)
    assert parts_of(tmp_path / "d") == before


def test_a_loose_run_that_was_cut_off_in_a_copy_counts_whole(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    gathered(folder, tmp_path / "d")
    before = parts_of(tmp_path / "d")
    whole = (folder / "loose" / "a.run.jsonl").read_bytes()
    (folder / "loose" / "0.run.jsonl").write_bytes(whole[: len(whole) // 2])
    gathered(folder, tmp_path / "d")
    assert parts_of(tmp_path / "d") == before


def test_an_old_copy_never_replaces_what_was_gathered(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    gathered(folder, tmp_path / "d")
    before = parts_of(tmp_path / "d")
    shutil.copytree(club.path, tmp_path / "old" / "club")
    (tmp_path / "old" / "club" / "journal.jsonl").unlink()
    found = gathered(tmp_path / "old", tmp_path / "d")
    assert "Is it an old copy?" in found.notes[0]
    assert parts_of(tmp_path / "d") == before


def test_other_sources_and_files_that_are_gone_stay(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    gathered(folder / "loose", tmp_path / "d")
    (folder / "loose" / "a.run.jsonl").unlink()
    gathered(folder / "club", tmp_path / "d")
    assert gathered(folder / "loose", tmp_path / "d").n_slides == 7
    assert len(rows_in(tmp_path / "d")) == 7


def test_a_file_that_can_t_be_opened_is_tried_again(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    link = folder / "loose" / "c.run.jsonl"
    link.symlink_to(tmp_path / "not there yet")
    found = gathered(folder, tmp_path / "d")
    assert any("c.run.jsonl can't be read" in one.sentence for one in found.problems)
    (tmp_path / "not there yet").write_bytes(b"nonsense")
    assert gathered(folder, tmp_path / "d").n_read == 1


def test_two_gathers_into_one_dataset_are_kept_apart(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "d").mkdir()
    with (
        locked(tmp_path / "d"),
        pytest.raises(BadInputError, match="Another program is gathering"),
    ):
        gathered(folder, tmp_path / "d")


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="There is no file or folder"):
        gathered(tmp_path / "none", tmp_path / "d")
    with pytest.raises(BadInputError, match="Cannot read nonsense://x"):
        gather(["nonsense://me:secret@x"], tmp_path / "d", TOKENS)


def test_a_folder_with_other_files_is_no_place_for_a_dataset(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    with pytest.raises(BadInputError, match="has other files in it"):
        gathered(folder, club.path)


def test_tokens_of_another_secret_or_names_do_not_mix(
    club: Study, folder: Path, tmp_path: Path
) -> None:
    gathered(folder, tmp_path / "d")
    with pytest.raises(BadInputError, match="leave out --with-names"):
        gathered(folder, tmp_path / "d", tokens=NAMES)
    with pytest.raises(BadInputError, match=r"names\.key"):
        gathered(folder, tmp_path / "d", tokens=Tokens(bytes(32)))


def test_a_file_that_has_changed_is_read_again(club: Study, folder: Path, tmp_path: Path) -> None:
    gathered(folder, tmp_path / "d")
    (folder / "loose" / "b.run.jsonl").write_bytes(b"other nonsense")
    assert gathered(folder, tmp_path / "d").n_read == 1


def test_another_analysis_reads_all_again(
    club: Study, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gathered(folder, tmp_path / "d")
    for module in (batch, run):
        monkeypatch.setattr(module, "analysis_version", lambda: "another")
    assert gathered(folder, tmp_path / "d").n_read == 6
    monkeypatch.setattr(batch, "analysis_version", lambda: "a worker's")
    with pytest.raises(BadInputError, match="another version of rig"):
        gathered(folder, tmp_path / "d", reread=True)
