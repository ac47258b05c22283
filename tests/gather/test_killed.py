"""What a gather that was cut off anywhere leaves, and what the next one makes of it."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from rig.files import durable
from rig.gather import dataset, index
from rig.study.folder.journal import Correction
from rig.study.folder.study import Study
from tests.gather.league import gathered, make_league, parts_of


class Killed(BaseException):
    """Ends a gather as a kill does: nothing catches it."""


def cut_at(monkeypatch: pytest.MonkeyPatch, n: int) -> Callable[[], int]:
    """Die before the n-th file is brought to the disk, moved or removed; returns a count."""
    steps = 0

    def counted(real: Callable[..., object]) -> Callable[..., object]:
        def step(*args: object, **kwargs: object) -> object:
            nonlocal steps
            steps += 1
            if steps == n:
                raise Killed
            return real(*args, **kwargs)

        return step

    for module in (dataset, index):
        monkeypatch.setattr(module, "replace_file", counted(durable.replace_file))
    monkeypatch.setattr(Path, "replace", counted(Path.replace))
    monkeypatch.setattr(Path, "unlink", counted(Path.unlink))
    return lambda: steps


@pytest.fixture
def club(tmp_path: Path) -> Study:
    return make_league(tmp_path / "league")


@pytest.mark.long
def test_a_gather_cut_off_anywhere_is_finished_by_the_next(club: Study, tmp_path: Path) -> None:
    gathered(tmp_path / "league", tmp_path / "old")
    club.note(Correction(at="2026-05-06T09:00:00Z", runs=("run 0000",), void=True), simulated=True)
    gathered(tmp_path / "league", tmp_path / "whole")
    wanted = parts_of(tmp_path / "whole")
    assert wanted != parts_of(tmp_path / "old")
    for start in ("nothing", "old"):
        for n in range(1, 100):
            out = tmp_path / f"{start} {n}"
            if start == "old":
                shutil.copytree(tmp_path / "old", out)
            with pytest.MonkeyPatch.context() as monkeypatch:
                steps = cut_at(monkeypatch, n)
                try:
                    gathered(tmp_path / "league", out)
                except Killed:
                    pass
                if steps() < n:
                    break
            gathered(tmp_path / "league", out)
            assert parts_of(out) == wanted
        assert n > 5


def test_a_part_that_was_changed_or_lost_is_made_again(club: Study, tmp_path: Path) -> None:
    gathered(tmp_path / "league", tmp_path / "d")
    wanted = parts_of(tmp_path / "d")
    for number, name in enumerate(wanted):
        path = tmp_path / "d" / "slides" / name
        if number % 2:
            path.unlink()
        else:
            path.write_bytes(wanted[name][:-1] + b"!")
        assert gathered(tmp_path / "league", tmp_path / "d").n_read == 0
        assert parts_of(tmp_path / "d") == wanted


def test_a_damaged_index_is_made_again(club: Study, tmp_path: Path) -> None:
    gathered(tmp_path / "league", tmp_path / "d")
    wanted = parts_of(tmp_path / "d")
    for path in (tmp_path / "d" / "_index" / "seen").iterdir():
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    assert gathered(tmp_path / "league", tmp_path / "d").n_read == 6
    assert parts_of(tmp_path / "d") == wanted


def test_slides_outlive_a_damaged_manifest(club: Study, tmp_path: Path) -> None:
    gathered(tmp_path / "league", tmp_path / "d")
    wanted = parts_of(tmp_path / "d")
    for path in (tmp_path / "d" / "_index" / "units").iterdir():
        path.write_bytes(path.read_bytes()[:-1])
    gathered(tmp_path / "league" / "loose", tmp_path / "d")
    assert parts_of(tmp_path / "d") == wanted
    gathered(tmp_path / "league", tmp_path / "d")
    assert parts_of(tmp_path / "d") == wanted


def test_slides_outlive_a_damaged_index_whose_files_are_not_gathered_now(
    club: Study, tmp_path: Path
) -> None:
    gathered(tmp_path / "league", tmp_path / "d")
    wanted = parts_of(tmp_path / "d")
    for path in (tmp_path / "d" / "_index" / "seen").iterdir():
        path.write_bytes(path.read_bytes()[:-1])
    found = gathered(tmp_path / "league" / "club", tmp_path / "d")
    assert "index was damaged" in found.notes[-1]
    assert parts_of(tmp_path / "d") == wanted
    gathered(tmp_path / "league", tmp_path / "d")
    assert parts_of(tmp_path / "d") == wanted
