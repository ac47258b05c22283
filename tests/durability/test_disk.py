"""The disk itself: what it keeps, what it may lose, and that no change of a file gets past it."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.durability.disk import Disk

Left = frozenset[tuple[str, bytes | None]]


@pytest.fixture
def folder(place: Path) -> Path:
    folder = place / "disk"
    folder.mkdir()
    (folder / "old").write_bytes(b"first\n")
    return folder


def left(disk: Disk, told: int = 0) -> set[Left]:
    """What may be there once so much was acknowledged."""
    found: set[Left] = set()

    def look(folder: Path, acknowledged: list[Any]) -> None:
        if len(acknowledged) == told:
            files = [path for path in folder.rglob("*") if path.is_file()]
            found.add(frozenset((str(p.relative_to(folder)), p.read_bytes()) for p in files))

    disk.replay(disk.folder.parent / "left", look)
    return found


def states(*files: dict[str, bytes]) -> set[Left]:
    return {frozenset(one.items()) for one in files}


def sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    os.fsync(descriptor)
    os.close(descriptor)


def test_what_was_appended_and_not_synced_may_be_lost_torn_or_nuls(folder: Path) -> None:
    with Disk(folder) as disk:
        with (folder / "old").open("ab") as file:
            file.write(b"next\n!")
        disk.acknowledge("appended")
        sync(folder / "old")
        disk.acknowledge("synced")
    assert left(disk, 1) == states(
        {"old": b"first\n"},
        {"old": b"first\nnex"},
        {"old": b"first\n\0\0\0\0\0\0"},
        {"old": b"first\nnext\n!"},
    )
    assert left(disk, 2) == states({"old": b"first\nnext\n!"})


def test_a_synced_file_is_lost_with_its_name_until_its_folder_is_synced(folder: Path) -> None:
    with Disk(folder) as disk:
        (folder / "new").write_bytes(b"ab")
        sync(folder / "new")
        disk.acknowledge("content")
        sync(folder)
        disk.acknowledge("name")
    old = {"old": b"first\n"}
    assert left(disk, 1) == states(old, {**old, "new": b"ab"})
    assert left(disk, 2) == states({**old, "new": b"ab"})


def test_a_new_folder_is_lost_with_all_in_it_until_the_one_above_is_synced(folder: Path) -> None:
    with Disk(folder) as disk:
        (folder / "a" / "b").mkdir(parents=True)
        (folder / "a" / "b" / "new").write_bytes(b"")
        sync(folder / "a" / "b")
        disk.acknowledge("b")
        sync(folder / "a")
        disk.acknowledge("a")
        sync(folder)
        disk.acknowledge("all")
    old = {"old": b"first\n"}
    both = states(old, {**old, "a/b/new": b""})
    assert [left(disk, told) for told in (1, 2)] == [both, both]
    assert left(disk, 3) == states({**old, "a/b/new": b""})


def test_a_rename_may_be_lost_and_may_come_before_the_content(folder: Path) -> None:
    with Disk(folder) as disk:
        (folder / "new").write_bytes(b"ab")
        os.replace(folder / "new", folder / "old")
        disk.acknowledge("renamed")
        sync(folder / "old")
        disk.acknowledge("content")
        sync(folder)
        disk.acknowledge("name")
    lost = ({"old": b"first\n"}, {"old": b"first\n", "new": b"ab"}, {"old": b"ab"})
    assert left(disk, 1) >= states(*lost, {"old": b""}, {"old": b"a"}, {"old": b"\0\0"})
    assert left(disk, 2) == states(*lost)
    assert left(disk, 3) == states({"old": b"ab"})


def test_a_removed_file_may_come_back(folder: Path) -> None:
    with Disk(folder) as disk:
        (folder / "old").unlink()
        disk.acknowledge("removed")
        sync(folder)
        disk.acknowledge("synced")
    assert left(disk, 1) == states({}, {"old": b"first\n"})
    assert left(disk, 2) == states({})


def test_a_killed_process_changes_nothing_more_and_the_next_one_does(folder: Path) -> None:
    def write() -> None:
        try:
            (folder / "new").write_bytes(b"ab")
            os.rename(folder / "new", folder / "renamed")
        finally:
            (folder / "tidy").write_bytes(b"")

    with Disk(folder) as disk:
        with disk.killed_after(2):
            write()
        assert sorted(path.name for path in folder.iterdir()) == ["new", "old"]
        write()
    assert disk.operations == [
        "create new",
        "write new",
        "write new",
        "write new",
        "rename new",
        "create tidy",
    ]


CHANGES: dict[str, Callable[[Path], Any]] = {
    "write text": lambda folder: (folder / "new").write_text("ä\n"),
    "open for text": lambda folder: print("x", file=(folder / "new").open("x", encoding="utf-8")),
    "update": lambda folder: (folder / "old").open("r+b").write(b"F"),
    "truncate": lambda folder: (folder / "old").open("ab").truncate(2),
    "empty": lambda folder: (folder / "old").open("w").close(),
    "no buffer": lambda folder: (folder / "old").open("ab", buffering=0).write(b"x"),
    "make a folder": lambda folder: (folder / "a" / "b").mkdir(parents=True),
    "link": lambda folder: os.link(folder / "old", folder / "other"),
    "remove": lambda folder: os.remove(folder / "old"),
    "touch": lambda folder: (folder / "new").touch(),
}


@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.parametrize("how", CHANGES)
def test_each_way_to_change_a_file_is_seen(folder: Path, how: str) -> None:
    with Disk(folder) as disk:
        CHANGES[how](folder)
    assert disk.operations


def test_a_way_that_is_not_watched_does_not_pass_for_nothing(folder: Path) -> None:
    with pytest.raises(AssertionError, match="not watched"), Disk(folder):
        shutil.copyfile(__file__, folder / "new")


def test_what_lies_elsewhere_is_none_of_its_business(folder: Path, place: Path) -> None:
    with Disk(folder) as disk, disk.killed_after(0):
        (place / "disk and more").write_bytes(b"x")
        assert (place / "disk and more").read_bytes() == b"x"
    assert disk.operations == []
