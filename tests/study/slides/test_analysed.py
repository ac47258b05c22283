"""`rig analyse` of a study: its run files as the slide table has them."""

from pathlib import Path

import pytest

from rig.analysis.budget.difference import group_name
from rig.errors import BadInputError
from rig.study.folder.journal import Correction, Mass, Treatment
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, open_study
from rig.study.slides.analysed import analyse, home_readings
from rig.study.slides.table import slide_table
from tests.study.folder_example import SOAK, add_run, make_study

AT = "2026-05-02T08:00:00Z"


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "s")
    for minute in range(3):
        add_run(made, "T1", f"2026-05-01T08:0{minute}:00Z")
    return made


def bags(*paths: Path) -> list[tuple[str | None, bool]]:
    found, _ = analyse(paths)
    return [(run.result.bag, run.result.valid) for run in found.runs]


def test_corrections_count_and_a_folder_of_run_files_is_read_as_it_is(study: Study) -> None:
    append(study.journal_path, Correction(at=AT, runs=("run 0001",), bag="T2", note="mixed up"))
    append(study.journal_path, Correction(at=AT, runs=("run 0002",), void=True, note="draught"))
    assert bags(study.path) == [("T1", True), ("T2", True), ("T1", False)]
    found, _ = analyse([study.path])
    assert [group.result.n_runs for group in found.made] == [1, 1]
    assert found.problems == ["run 0002 was taken out by a correction: draught."]
    as_written = [("T1", True)] * 3
    assert bags(study.runs_path) == as_written
    assert bags(study.path, study.runs_path) == bags(study.path) + as_written


def test_its_rows_are_those_of_the_table(study: Study) -> None:
    append(
        study.journal_path,
        Treatment(at=AT, bag="T1", stage="after 1", recipe="soft", steps=SOAK),
    )
    add_run(study, "T1", "2026-05-03T08:00:00Z", stage="baseline")
    found, _ = analyse([study.path])
    rows = [run.result for run in found.runs]
    assert rows[-1].treatment_stage == "after 1", "as the journal says, not the file"
    table = slide_table(open_study(study.path)).of_rig
    assert [row.run_id for row in rows] == [slide.slide_id for slide in table]
    for row, slide in zip(rows, table, strict=True):
        assert slide.result is not None
        assert Path(row.run_file) == study.path / slide.run_file
        assert (row.onset_angle_deg, row.treatment_stage) == (
            slide.result.onset_angle_deg,
            slide.stage,
        )
    assert "after 1" in group_name(found.made[-1])


def test_a_bag_in_doubt_has_no_valid_run_and_a_line_about_any_bag_blocks_all(study: Study) -> None:
    add_run(study, "C1", "2026-05-01T09:00:00Z")
    append(study.journal_path, Mass(at=AT, bag="T1", mass_g=441.0))
    whole = study.journal_path.read_bytes()
    study.journal_path.write_bytes(whole.replace(b"441.0", b"448.0"))
    assert bags(study.path) == [("T1", False)] * 3 + [("C1", True)]
    study.journal_path.write_bytes(whole.replace(b'"bag":"T1"', b'"bog":"T1"'))
    with pytest.raises(BadInputError, match="answers about any bag must wait"):
        analyse([study.path])


def test_a_study_without_runs_and_one_whose_runs_are_all_spoilt(study: Study) -> None:
    for path in sorted(study.runs_path.rglob("*.run.jsonl")):
        path.write_bytes(b"[1]\n")
    with pytest.raises(BadInputError, match="is not a run file"):
        analyse([study.path])
    for path in sorted(study.runs_path.rglob("*.run.jsonl")):
        path.unlink()
    with pytest.raises(BadInputError, match="has no run yet"):
        analyse([study.path])


def test_home_readings_of_a_study_are_those_of_its_table(study: Study) -> None:
    of_files = home_readings([study.runs_path])
    assert len(of_files) == 3
    assert home_readings([study.path]) == of_files
    assert home_readings([study.path, study.runs_path]) == of_files * 2
