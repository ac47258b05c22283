from pathlib import Path

import pytest

from rig.calibration.file import load_calibration, newest_calibration
from rig.report.home import home_records
from rig.runfile.reader import find_runs, read_run


def test_home_readings_are_those_of_the_whole_files(study_folder: Path) -> None:
    files = find_runs([study_folder / "runs"])
    calibration = load_calibration(newest_calibration(study_folder / "calibration"))  # type: ignore[arg-type]
    made_at, records = home_records(files)
    assert made_at == calibration.made_at
    assert len(records) == len(files)
    assert [r.started_at for r in records] == sorted(r.started_at for r in records)
    for path in files[::17]:
        run = read_run(path)
        event = run.first_event("home_reading")
        assert event is not None
        record = next(r for r in records if r.started_at == run.header.started_at)
        off = event.detail["angle_deg"] - calibration.home_angle_deg
        assert record.angle_deg == pytest.approx(off)


def test_a_floor_that_sinks_shows(study_folder: Path) -> None:
    _, records = home_records(find_runs([study_folder / "runs"]))
    # The example's floor rises by 0.02° from the first to the fourth session.
    assert records[-1].angle_deg - records[0].angle_deg == pytest.approx(0.02, abs=0.012)


def test_files_that_are_none_are_passed_over(tmp_path: Path) -> None:
    for name, data in (("a", b""), ("b", b'{"kind":"header"'), ("c", b"\x00\xff\n{}")):
        (tmp_path / f"{name}.run.jsonl").write_bytes(data)
    assert home_records(find_runs([tmp_path])) == ("", [])
