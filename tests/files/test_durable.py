"""New files: whole, and never in another's place."""

import errno
import os
from pathlib import Path

import pytest

from rig.files.durable import create_file


def test_what_is_created_is_the_only_file(tmp_path: Path) -> None:
    create_file(tmp_path / "file", b"first")
    with pytest.raises(FileExistsError):
        create_file(tmp_path / "file", b"second")
    assert (tmp_path / "file").read_bytes() == b"first"
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_nothing_is_written_over_a_file_that_comes_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def after_another(_: int) -> None:
        (tmp_path / "file").write_bytes(b"another's")

    monkeypatch.setattr(os, "fsync", after_another)
    with pytest.raises(FileExistsError):
        create_file(tmp_path / "file", b"mine")
    assert (tmp_path / "file").read_bytes() == b"another's"
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_file_system_without_links_will_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", refused)
    test_what_is_created_is_the_only_file(tmp_path)
