import shutil
from multiprocessing import forkserver
from pathlib import Path

import msgspec
import pytest

from rig.calibration.model import Calibration
from rig.runfile.reader import find_runs, read_run
from rig.study.slides import look, results
from rig.study.slides.look import Kept
from rig.study.slides.results import FOLDER, NAME, results_of
from tests.study.simulated_study import simulate_study


@pytest.fixture(scope="module", autouse=True)
def _kept_by_this_process() -> None:
    """What the first test to need it would start for all later ones."""
    forkserver.ensure_running()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return simulate_study(tmp_path_factory.mktemp("made") / "study", runs=1).path


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "study"))


@pytest.fixture
def analysed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files that were analysed rather than taken from the store."""
    names: list[str] = []
    real = look.kept_in

    def counting(path: Path, data: bytes, calibration: Calibration | None) -> Kept:
        names.append(path.name)
        return real(path, data, calibration)

    monkeypatch.setattr(look, "kept_in", counting)
    return names


def test_second_call_analyses_nothing(folder: Path, analysed: list[str]) -> None:
    files = find_runs([folder])
    first = results_of(files, folder)
    assert len(analysed) == len(files) == 8
    assert results_of(files, folder) == first
    assert len(analysed) == 8
    assert (folder / FOLDER / NAME).exists()
    assert FOLDER.startswith(".")


def test_a_changed_byte_is_noticed_whatever_the_time_stamp(
    folder: Path, analysed: list[str]
) -> None:
    files = find_runs([folder])
    results_of(files, folder)
    analysed.clear()
    file = files[3]
    before = file.stat()
    data = file.read_bytes()
    file.write_bytes(data.replace(b'"outcome":"slid"', b'"outcome":"SLID"'))
    import os

    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert file.stat().st_size == before.st_size
    results_of(files, folder)
    assert analysed == [file.name]


def test_another_calibration_is_another_result(folder: Path, analysed: list[str]) -> None:
    files = find_runs([folder])
    first = results_of(files, folder)
    own = read_run(files[0]).header.calibration
    assert own is not None
    other = msgspec.structs.replace(own, bias_g=tuple(b + 0.01 for b in own.bias_g))
    analysed.clear()
    second = results_of(files, folder, other)
    assert len(analysed) == 8
    one, two = first[files[0]].result, second[files[0]].result
    assert one is not None
    assert two is not None
    assert one.onset_angle_deg != two.onset_angle_deg


def test_another_analysis_is_another_result(
    folder: Path, analysed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    files = find_runs([folder])
    results_of(files, folder)
    analysed.clear()
    monkeypatch.setattr(results, "analysis_version", lambda: "newer")
    results_of(files, folder)
    assert len(analysed) == 8


@pytest.mark.parametrize("damage", [b"", b"\x00\xff nonsense", b"\x81\xa3abc\x01"])
def test_a_damaged_store_is_made_anew(folder: Path, analysed: list[str], damage: bytes) -> None:
    files = find_runs([folder])
    first = results_of(files, folder)
    (folder / FOLDER / NAME).write_bytes(damage)
    analysed.clear()
    assert results_of(files, folder) == first
    assert len(analysed) == 8


def test_a_moved_file_keeps_its_result_under_its_new_name(
    folder: Path, analysed: list[str]
) -> None:
    files = find_runs([folder])
    results_of(files, folder)
    analysed.clear()
    moved = files[0].rename(files[0].with_name("moved.run.jsonl"))
    (kept,) = results_of([moved], folder).values()
    assert kept.result is not None
    assert kept.result.run_file == str(moved)
    assert analysed == []


def test_a_file_that_is_no_run_is_told(folder: Path) -> None:
    bad = folder / "runs" / "bad.run.jsonl"
    bad.write_text("nothing\n")
    kept = results_of([bad], folder)[bad]
    assert kept.result is None
    assert "bad.run.jsonl" in kept.problems[0]


def test_a_folder_that_cannot_be_written_to_is_no_error(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = find_runs([folder])[:1]
    (folder / FOLDER).write_text("a file where the folder should be")
    assert results_of(files, folder)[files[0]].result is not None


def test_many_files_are_shared_out(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = find_runs([folder])
    alone = results_of(files, folder)
    shutil.rmtree(folder / FOLDER)
    monkeypatch.setattr(results, "MANY", 2)
    assert results_of(files, folder) == alone


def test_another_process_that_fails_costs_time_only(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = find_runs([folder])
    alone = results_of(files, folder)
    shutil.rmtree(folder / FOLDER)
    monkeypatch.setattr(results, "MANY", 2)
    monkeypatch.setattr("sys.executable", "/bin/false")
    assert results_of(files, folder) == alone


def test_a_flipped_bit_in_a_kept_result_is_seen(folder: Path, analysed: list[str]) -> None:
    """Each kept result has a check of its own; what was hit is made again, the rest is used."""
    files = find_runs([folder])
    first = results_of(files, folder)
    store = folder / FOLDER / NAME
    data = bytearray(store.read_bytes())
    place = data.index(b"onset_angle_deg") + 19
    data[place] ^= 8
    store.write_bytes(data)
    analysed.clear()
    assert results_of(files, folder) == first
    assert len(analysed) == 1
