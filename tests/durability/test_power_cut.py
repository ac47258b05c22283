"""What was acknowledged outlasts a power cut after any operation, and what is left can be read."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import pyarrow.parquet as pq
import pytest

from rig.analysis.row import RunResult
from rig.analysis.table import csv_text, write_csv
from rig.calibration.file import load_calibration, newest_calibration, save_calibration
from rig.calibration.home import HomeCheck, load_home_check, save_home_check
from rig.calibration.plan import LevelPlan
from rig.commands import report
from rig.errors import BadInputError
from rig.files.durable import replace_file
from rig.gather.tokens import secret_key
from rig.procedures.level.progress import LevelProgress, load_progress, save_progress
from rig.procedures.requests import plan_series
from rig.procedures.series.log import Begun, Closed, Ended, SeriesLog, SeriesOptions
from rig.procedures.series.series import begin_series
from rig.runfile.model import Event
from rig.runfile.reader import find_runs, read_run
from rig.runfile.writer import RunWriter
from rig.settings.model import Settings
from rig.study.export import write_table_csv, write_table_parquet
from rig.study.folder.catalogue import Bag, Recipe
from rig.study.folder.catalogue_file import add_table
from rig.study.folder.journal import Mass, Withdrawal
from rig.study.folder.journal_file import append, read_journal
from rig.study.folder.study import new_study, open_study
from rig.study.plan.keep import add_to_plan, current_plan
from rig.study.plan.rows import PlanRow, read_plan
from rig.study.slides import results as cache
from rig.study.slides.look import Kept
from tests.calibration.example import SENSOR, calibration
from tests.durability.disk import Disk
from tests.runfile.example import END, LINES, header
from tests.study.folder_example import SOAK, make_study

AT = "2026-05-01T08:00:00Z"
NOW = datetime(2026, 5, 1, 8, tzinfo=UTC)

# -- run files --------------------------------------------------------------------------------


def test_a_run_file_keeps_its_name_each_state_and_its_end(disk: Disk, after: Path) -> None:
    name = "runs/2026-05-01/a.run.jsonl"
    lines: list[Any] = [*LINES, Event(t_s=9.0, event="state", detail={"state": "lowering"})]
    with disk:
        with RunWriter(disk.folder / name, header()) as writer:
            disk.acknowledge(0)
            for number, line in enumerate(lines, start=1):
                writer.write(line)
                if isinstance(line, Event) and line.event == "state":
                    disk.acknowledge(number)
            writer.end(END.outcome, END.flags, END.samples_lost, END.bus_retries)
        disk.acknowledge("whole")

    def check(folder: Path, acknowledged: list[Any]) -> None:
        assert len(find_runs([folder])) == 1 or not acknowledged
        try:
            run = read_run(folder / name)
        except BadInputError:
            assert acknowledged in ([], [0])
            return
        kept = [*run.events, *run.samples, *run.climate, *run.steps]
        sure = len(lines) if "whole" in acknowledged else max(acknowledged, default=0)
        assert all(line in kept for line in lines[:sure])
        assert (run.end is not None and not run.problems) or "whole" not in acknowledged
        assert run.end is None or run.problems or len(kept) == len(lines)

    assert disk.replay(after, check) > 30


# -- what is appended to ----------------------------------------------------------------------


def weighed(mass_g: float, replaces: int | None = None) -> Mass:
    return Mass(at=AT, bag="T1", mass_g=mass_g, replaces=replaces)


def test_a_journal_keeps_each_line(disk: Disk, after: Path) -> None:
    with disk:
        path = disk.folder / "journal.jsonl"
        disk.acknowledge(append(path, weighed(440.0)))
        disk.acknowledge(append(path, weighed(441.0, replaces=2)))
        disk.acknowledge(append(path, Withdrawal(at=AT, replaces=3, note="wrong bag")))

    def check(folder: Path, acknowledged: list[Any]) -> None:
        before = read_journal(folder / "journal.jsonl")
        assert before.lines[: len(acknowledged)] == acknowledged
        assert all("was cut off" in problem for problem in before.problems)
        added = append(folder / "journal.jsonl", weighed(450.0))
        assert read_journal(folder / "journal.jsonl").lines == [*before.lines, added]

    assert disk.replay(after, check) > 10


def test_a_series_log_keeps_each_line(disk: Disk, after: Path) -> None:
    requests = plan_series(Settings(), 2, source="twin", started=NOW, bag="T1", face="slick")
    run = {"series_id": "s", "repeat": 1, "run_file": "none", "bag": "T1", "face": "slick"}
    ended = Ended(at=AT, run_id="r", slid=True, outcome="slid")
    with disk, SeriesLog(disk.folder / "runs" / "night") as log:
        begin_series(log, requests, SeriesOptions(), NOW)
        disk.acknowledge(log.entries[-1])
        for entry in (Begun(at=AT, run_id="r", **run), ended):  # type: ignore[arg-type]
            log.add(entry)
            disk.acknowledge(entry)

    def check(folder: Path, acknowledged: list[Any]) -> None:
        closed = Closed(at=AT, series_id="s", reason="enough")
        with SeriesLog(folder / "runs" / "night") as log:
            before = [*log.entries]
            assert before[: len(acknowledged)] == acknowledged
            assert log.wear("T1", "slick").slides == (ended in before)
            log.add(closed)
        with SeriesLog(folder / "runs" / "night") as log:
            assert log.entries == [*before, closed]

    assert disk.replay(after, check) > 10


def home_check(slope_deg: float) -> HomeCheck:
    return HomeCheck(
        checked_at=AT,
        calibration_made_at=AT,
        sensor_along_deg=slope_deg,
        sensor_across_deg=0.0,
        level_along_deg=slope_deg,
        level_across_deg=0.0,
        u_level_deg=0.01,
    )


def test_checks_of_the_home_reading_are_kept(disk: Disk, after: Path) -> None:
    checks = [home_check(0.1), home_check(0.2)]
    with disk:
        for check in checks:
            save_home_check(disk.folder / "rig" / "calibration", check)
            disk.acknowledge(check)

    def look(folder: Path, acknowledged: list[Any]) -> None:
        calibrations = folder / "rig" / "calibration"
        found = load_home_check(calibrations)
        assert found in checks[max(0, len(acknowledged) - 1) :] or not acknowledged
        save_home_check(calibrations, home_check(0.3))
        assert load_home_check(calibrations) == home_check(0.3)

    assert disk.replay(after, look) > 8


# -- what is created or replaced whole --------------------------------------------------------


def test_a_calibration_is_there_whole_or_leaves_the_one_before(disk: Disk, after: Path) -> None:
    made = [calibration(), calibration(temperature_c=25.0)]
    with disk:
        for number, one in enumerate(made):
            save_calibration(disk.folder / "rig" / "calibration" / f"{number}.json", one)
            disk.acknowledge(one)

    def check(folder: Path, acknowledged: list[Any]) -> None:
        newest = newest_calibration(folder / "rig" / "calibration")
        if newest is None:
            assert not acknowledged
            return
        assert load_calibration(newest) in made[max(0, len(acknowledged) - 1) :]
        assert (newest.parent / "0.json").exists()

    assert disk.replay(after, check) > 8


def test_the_secret_of_names_is_there_once_it_was_used(disk: Disk, after: Path) -> None:
    with disk:
        key = secret_key(disk.folder / "rig" / "names.key")
        disk.acknowledge(key)

    def check(folder: Path, acknowledged: list[Any]) -> None:
        path = folder / "rig" / "names.key"
        if path.exists() or acknowledged:
            assert bytes.fromhex(path.read_text()) == key

    assert disk.replay(after, check) > 5


def progress(started_at: str) -> LevelProgress:
    return LevelProgress(sensor=SENSOR, started_at=started_at, plan=LevelPlan())


def result(bag: str) -> RunResult:
    nothing: dict[str, Any] = dict.fromkeys(("set", "board", "treatment_stage", "session"))
    return RunResult(
        run_file="a.run.jsonl",
        run_id="a",
        valid=True,
        bag=bag,
        face="slick",
        series=None,
        slide_number=1,
        rate_deg_s=1.0,
        dwell_s=10.0,
        flags=[],
        outcome="slid",
        **nothing,
    )


def kept(words: str) -> dict[str, Kept]:
    return {"a": Kept(result=result(words), problems=(words * 9,))}


def loaded_progress(path: Path) -> str:
    found = load_progress(path)
    return "" if found is None else found.started_at


class Replaced(NamedTuple):
    """Something that is written whole, and how it is read back."""

    write: Callable[[Path, str], Any]
    read: Callable[[Path], Any] = lambda path: path.read_text()
    content: Callable[[str], Any] = lambda words: words
    makes_folder: bool = False


REPLACED = {
    "any file": Replaced(lambda path, words: replace_file(path, words.encode())),
    "calibration so far": Replaced(
        lambda path, words: save_progress(path, progress(words)), loaded_progress, makes_folder=True
    ),
    "table of runs": Replaced(
        lambda path, words: write_csv(path, [result(words)]),
        content=lambda words: csv_text([result(words)]),
    ),
    "table of a study": Replaced(
        lambda path, words: write_table_csv(path, [{"bag": words}]),
        lambda path: path.read_text().splitlines()[1].strip(","),
    ),
    "columns of a study": Replaced(
        lambda path, words: write_table_parquet(path, [{"bag": words}]),
        lambda path: pq.read_table(path)["bag"][0].as_py(),
    ),
    "page": Replaced(
        lambda path, words: report._write(path, words.encode()),  # noqa: SLF001
        makes_folder=True,
    ),
    "kept results": Replaced(
        lambda path, words: cache._save(path, kept(words)),  # noqa: SLF001
        cache._load,  # noqa: SLF001
        kept,
        makes_folder=True,
    ),
}


@pytest.mark.parametrize("what", REPLACED)
def test_what_is_replaced_is_the_old_or_the_new(what: str, disk: Disk, after: Path) -> None:
    how = REPLACED[what]
    file = "new/file" if how.makes_folder else "file"
    words = ["first", "the second", "third"]
    with disk:
        for one in words:
            how.write(disk.folder / file, one)
            disk.acknowledge(one)

    def check(folder: Path, acknowledged: list[Any]) -> None:
        if (folder / file).exists() or acknowledged:
            allowed = words[max(0, len(acknowledged) - 1) :]
            assert how.read(folder / file) in [how.content(one) for one in allowed]

    assert disk.replay(after, check) > 8


def test_a_replacement_that_fails_leaves_no_part_behind(place: Path) -> None:
    (place / "file").mkdir()
    with pytest.raises(IsADirectoryError):
        replace_file(place / "file", b"first")
    assert [path.name for path in place.iterdir()] == ["file"]


def test_a_study_keeps_what_was_put_into_its_catalogue(disk: Disk, after: Path) -> None:
    with disk:
        study = new_study(disk.folder / "clubs" / "one", "One")
        disk.acknowledge("study")
        add_table(study.catalogue_path, "treatments", "soft", Recipe(steps=SOAK))
        disk.acknowledge("soft")
        add_table(study.catalogue_path, "bags", "T1", Bag(treatment="soft"))
        disk.acknowledge("T1")

    def check(folder: Path, acknowledged: list[Any]) -> None:
        path = folder / "clubs" / "one"
        if not acknowledged and not (path / "study.toml").exists():
            new_study(path, "One")  # begin again
            return
        study = open_study(path)
        found = {"study", *study.catalogue.treatments, *study.catalogue.bags}
        assert found >= set(acknowledged)
        add_table(study.catalogue_path, "bags", "T2", Bag())
        assert all((path / name).is_dir() for name in ("calibration", "runs", "report"))

    assert disk.replay(after, check) > 15


def test_no_plan_is_lost(place: Path, after: Path) -> None:
    study = make_study(place / "study")
    plans: list[list[PlanRow]] = []

    def keep(disk: Disk, rows: list[PlanRow]) -> None:
        plans.append(rows)
        disk.acknowledge(len(plans))

    with Disk(study.path) as disk:
        keep(disk, current_plan(study))
        keep(disk, current_plan(study, replace=True))
        stages = study.catalogue_path.read_text()
        study.catalogue_path.write_text(f"{stages}\n[climates.damp]\nrelative_humidity_pct = 75\n")
        study = open_study(study.path)
        keep(disk, add_to_plan(study))
    texts = [(study.path / f"plan-{number}.csv").read_bytes() for number in (1, 2)]
    texts.append(study.plan_path.read_bytes())
    assert len(set(texts)) == 3

    def check(folder: Path, acknowledged: list[Any]) -> None:
        left = [path.read_bytes() for path in folder.glob("plan*.csv")]
        assert all(texts[number - 1] in left for number in acknowledged)
        if acknowledged:
            (folder / "study.toml").write_bytes(study.catalogue_path.read_bytes())
            assert read_plan(open_study(folder)) in plans

    assert disk.replay(after, check) > 15


# -- a process killed first, the power cut later ----------------------------------------------


def add_to_series(folder: Path, number: int) -> None:
    with SeriesLog(folder) as log:
        log.add(Closed(at=AT, series_id=str(number), reason="enough"))


def series_lines(folder: Path) -> list[int]:
    with SeriesLog(folder) as log:
        return [int(entry.series_id) for entry in log.entries if isinstance(entry, Closed)]


APPENDED: dict[str, tuple[Callable[[Path, int], Any], Callable[[Path], Any]]] = {
    "journal": (
        lambda folder, number: append(folder / "journal.jsonl", weighed(400.0 + number)),
        lambda folder: [
            round(mass.mass_g - 400.0) for mass in read_journal(folder / "journal.jsonl").of(Mass)
        ],
    ),
    "series log": (add_to_series, series_lines),
    "home checks": (
        lambda folder, number: save_home_check(folder, home_check(number)),
        lambda folder: [getattr(load_home_check(folder), "sensor_along_deg", None)],
    ),
}


@pytest.mark.parametrize("what", APPENDED)
def test_who_was_killed_before_does_not_endanger_the_next_line(
    what: str, place: Path, after: Path
) -> None:
    add, read = APPENDED[what]
    for operations in range(8):
        folder = place / str(operations)
        folder.mkdir()
        with Disk(folder) as disk:
            with disk.killed_after(operations):
                add(disk.folder, 1)
            add(disk.folder, 2)
            disk.acknowledge(2)

        def check(folder: Path, acknowledged: list[Any]) -> None:
            assert read(folder)[-1:] == [2] or not acknowledged

        disk.replay(after, check)
