"""A disk that is full, and one that is read-only, made for real on small memory file systems."""

import os
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from rig.errors import BadInputError, MachineFaultError, RigError
from rig.opening import open_twin
from rig.procedures.requests import plan_series
from rig.procedures.series.log import SeriesLog, SeriesOptions
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.runfile.reader import read_run
from rig.runfile.writer import RunWriter
from tests.faults.harness import SCENARIO, SETTINGS
from tests.runfile.example import LINES, header
from tests.small_disk import remount, small_disk
from tests.twin_of import twin_of


@pytest.fixture
def mounted(tmp_path: Path) -> Iterator[Path]:
    """A file system of 400 kB."""
    with small_disk(tmp_path / "disk") as point:
        yield point


def series(
    folder: Path, n: int, begun: Callable[[Path], None] = lambda path: None
) -> tuple[list[Path], RigError | None]:
    """Make a series there; `begun` is called as each run begins."""
    rig = open_twin(SETTINGS, SCENARIO, 3)
    now = rig.machine.clock.utc_now()
    paths: list[Path] = []
    error: RigError | None = None
    with SeriesLog(folder) as log:
        log.settle(now)
        planned = log.unfinished()
        if planned is None:
            asked = plan_series(SETTINGS, n, source="twin", started=now, bag="X")
            planned = begin_series(log, asked, SeriesOptions(), now)

        def note(_: object, path: Path) -> None:
            paths.append(path)
            begun(path)

        maker = SeriesMaker(rig.machine, log, planned, Hooks(begun=note))
        with rig:
            try:
                rig.run(maker.make(start_now=True))
            except RigError as caught:
                error = caught
            assert not twin_of(rig).world.motor.is_enabled
    return paths, error


@pytest.fixture
def no_free_space_check(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rig.control.process.host.free_mb", lambda folder: 1e6)
    monkeypatch.setattr("rig.procedures.runs.check_free_space", lambda folder, least: None)


def fill(folder: Path, leave_bytes: int) -> Path:
    """A file that leaves only so much."""
    filler = folder / "filler"
    free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_bsize
    filler.write_bytes(bytes(max(0, free - leave_bytes)))
    return filler


@pytest.mark.usefixtures("no_free_space_check")
def test_a_disk_that_fills_up_stops_the_series_and_keeps_what_was_written(mounted: Path) -> None:
    filler = fill(mounted, 120_000)
    paths, error = series(mounted, 4)
    assert isinstance(error, MachineFaultError)
    assert error.cause == "disk"
    assert "no space left" in str(error)
    runs = [read_run(path) for path in paths]
    assert runs[-1].interrupted
    assert all(run.end is not None and run.end.outcome == "slid" for run in runs[:-1])
    assert len(runs[-1].events) + len(runs[-1].samples) > 0
    # With space again, the series goes on where it was.
    filler.unlink()
    more, error = series(mounted, 4)
    assert error is None
    assert len(more) == 4 - (len(paths) - 1)
    with SeriesLog(mounted) as log:
        assert log.unfinished() is None


def test_a_disk_that_is_nearly_full_is_refused_before_anything_moves(mounted: Path) -> None:
    paths, error = series(mounted, 2)
    assert isinstance(error, BadInputError)
    assert "MB are free" in str(error)
    assert paths == []


@pytest.mark.usefixtures("no_free_space_check")
def test_a_disk_that_turns_read_only_stops_the_series(mounted: Path) -> None:
    whole, error = series(mounted, 1)
    assert error is None
    before = whole[0].read_bytes()
    remount(mounted, "ro")
    with pytest.raises(BadInputError, match="read-only"):
        series(mounted, 1)
    assert whole[0].read_bytes() == before
    assert read_run(whole[0]).problems == []


@pytest.mark.usefixtures("no_free_space_check")
@pytest.mark.parametrize(
    ("what", "says"), [("day", "was deleted while its series"), ("folder", "it was deleted")]
)
def test_a_folder_that_is_deleted_in_mid_series_stops_it(
    tmp_path: Path, what: str, says: str
) -> None:
    """With a sentence, and what still lies there stays."""
    folder = tmp_path / "runs"
    paths: list[Path] = []

    def begun(path: Path) -> None:
        paths.append(path)
        if len(paths) == 2:
            shutil.rmtree(path.parent if what == "day" else folder)

    _, error = series(folder, 4, begun)
    assert isinstance(error, MachineFaultError)
    assert (error.cause, error.exit_code) == ("disk", 1)
    assert says in str(error)
    assert len(paths) == 2, "no further run was begun"
    assert read_run(paths[1]).problems == []


def test_a_run_file_that_is_deleted_meanwhile_is_told_at_its_next_state(tmp_path: Path) -> None:
    with RunWriter(tmp_path / "day" / "a.run.jsonl", header()) as writer:
        writer.write(LINES[1])
        shutil.rmtree(tmp_path / "day")
        with pytest.raises(MachineFaultError, match="cannot be written: it was deleted"):
            writer.write(LINES[0])
        with pytest.raises(MachineFaultError, match="it was deleted"):
            writer.end("slid", [], 0, 0)


def test_a_log_that_is_deleted_meanwhile_is_told(tmp_path: Path) -> None:
    at = datetime(2026, 5, 1, tzinfo=UTC)
    with SeriesLog(tmp_path / "runs") as log:
        shutil.rmtree(tmp_path / "runs")
        with pytest.raises(MachineFaultError, match=r"series\.jsonl cannot be written: it was del"):
            begin_series(
                log, plan_series(SETTINGS, 1, source="twin", started=at), SeriesOptions(), at
            )
