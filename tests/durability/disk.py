"""A disk under a folder whose power can be cut after each operation, and what is left then.

While a `Disk` is entered, the calls by which Python changes files below its folder are told to it.
They do their work on the real file system, and after each the disk notes what the folder holds.
From these notes it rebuilds what may be there after a power cut. What counts is what POSIX promises
and the manual page of `fsync(2)` spells out, not what one file system happens to do:

- *Content* of a file is on the disk as it was at the last `fsync` (or `fdatasync`) of the file.
  What was written since may be lost whole, be there by half, or be NULs of the right length (the
  length reached the disk, the blocks did not). A file that was never synced may be empty.
- *Names* are kept by folders. That a file or folder was made, renamed or removed is on the disk
  once the folder with its name was synced; `fsync` of the file itself does not do that. Changes of
  names since then may be there or not, in the order in which they were made: none of them, all, or
  any number of the first. So a rename may be lost, and it may also come before the content of the
  file that was renamed.
- `close` promises nothing.

Linux file systems are milder. ext4 in its usual ordered mode, for one, keeps the name of a new file
along with its `fsync`, and mostly writes the content of a renamed file before the rename. What
holds here holds there. Not covered: names that reach the disk in another order than that of the
calls, a disk that loses what it said it had, and damage to what was synced before.
"""

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple, Self

from tests.durability.calls import watched

LOSSES = ("unsynced content is lost", "half of it is there", "it is NULs", "all of it is there")
NAMES = frozenset({"create", "mkdir", "rmdir", "rename", "replace", "link", "unlink", "remove"})

Tree = dict[str, bytes | None]
"""Content by path from the folder; None for folders."""
Check = Callable[[Path, list[Any]], None]


class KilledError(BaseException):
    """The process is gone: from here on it changes nothing, whatever it does on its way out."""


class _Moment(NamedTuple):
    """After an operation."""

    kind: str
    path: str
    synced: int | None
    """Inode of the file or folder that was brought to the disk."""
    names: dict[int, dict[str, int]]
    """Names in each folder and their inodes, by the folder's inode."""
    contents: dict[int, bytes]
    """By the file's inode; also of files that have no name any more."""


class Disk:
    """Watches a folder while it is entered; tells afterwards what each power cut may leave.

    Args:
        folder: exists; what is in it at first is taken as synced.
        every_write: cut also after each write, not only after what follows it.
    """

    def __init__(self, folder: Path, *, every_write: bool = True) -> None:
        self.folder = folder
        self._root = os.path.abspath(folder)
        self._every_write = every_write
        self._moments: list[_Moment] = []
        self._acknowledged: list[tuple[int, Any]] = []
        self._held: dict[tuple[int, int], int] = {}
        """Descriptors by device and inode: while one is held, no new file gets its inode."""
        self._life: int | None = None
        self._lock = threading.RLock()
        self._watch = ExitStack()

    def __enter__(self) -> Self:
        self._note("start", ".")
        self._watch.enter_context(watched(self))
        return self

    def __exit__(self, *failure: object) -> None:
        self._watch.close()
        try:
            last = self._moments[-1]
            self._note("stop", ".")
            now = self._moments.pop()
            if self._every_write and failure[0] is None:
                assert (now.names, now.contents) == (last.names, last.contents), (
                    f"something changed {self.folder} in a way that is not watched"
                )
        finally:
            for descriptor in self._held.values():
                os.close(descriptor)

    @property
    def operations(self) -> list[str]:
        """What was done, in order."""
        return [f"{moment.kind} {moment.path}" for moment in self._moments[1:]]

    def acknowledge(self, what: Any) -> None:
        """Say that this is done: from here on it must outlast any power cut."""
        with self._lock:
            self._note("acknowledge", repr(what))
            self._acknowledged.append((len(self._moments) - 1, what))

    @contextmanager
    def killed_after(self, operations: int) -> Iterator[None]:
        """Kill the process in here before it does one operation more than this."""
        open_before = _descriptors()
        self._life = operations
        with suppress(KilledError):
            yield
        self._life = None
        for descriptor in _descriptors() - open_before - {*self._held.values()}:
            os.close(descriptor)

    def replay(self, into: Path, check: Check) -> int:
        """Rebuild in `into` what each cut may leave, and let `check` look at it.

        Args:
            into: is made, and emptied each time.
            check: is given the folder and what was acknowledged before the cut.

        Returns:
            How many different states there were.
        """
        seen = set()
        for k in range(len(self._moments)):
            told = [what for at, what in self._acknowledged if at <= k]
            for j in [0, *(i for i in range(k + 1) if self._moments[i].kind in NAMES)]:
                for loss in LOSSES:
                    tree = dict(self._left(k, j, loss))
                    state = (len(told), frozenset(tree.items()))
                    if state in seen:
                        continue
                    seen.add(state)
                    _rebuild(tree, into)
                    try:
                        check(into, told)
                    except BaseException as error:
                        kind, path, *_ = self._moments[k]
                        ends = {name: content and content[-60:] for name, content in tree.items()}
                        error.add_note(
                            f"Power cut after operation {k} ({kind} {path}); names as after"
                            f" operation {j}; of files, {loss}. Left, by their last bytes: {ends}"
                        )
                        raise
        return len(seen)

    # -- what is left -------------------------------------------------------------------------

    def _left(self, k: int, j: int, loss: str) -> Iterator[tuple[str, bytes | None]]:
        """What is there after a cut at `k` when changes of names up to `j` came through."""
        todo = [("", os.stat(self._root).st_ino)]
        for prefix, folder in todo:
            names = self._moments[max(j, self._last_sync(folder, k))].names.get(folder, {})
            for name, inode in sorted(names.items()):
                if inode in self._moments[k].contents:
                    yield prefix + name, self._content(inode, k, loss)
                else:
                    yield prefix + name, None
                    todo.append((f"{prefix}{name}/", inode))

    def _content(self, inode: int, k: int, loss: str) -> bytes:
        kept = self._moments[self._last_sync(inode, k)].contents.get(inode, b"")
        now = self._moments[k].contents[inode]
        # What was appended comes after what is kept; what was rewritten, in place of it.
        same = len(kept) if now.startswith(kept) else 0
        lost, half, nuls, _ = LOSSES
        if loss == lost:
            return kept
        if loss == half:
            return now[: (same + len(now)) // 2]
        if loss == nuls:
            return now[:same] + bytes(len(now) - same)
        return now

    def _last_sync(self, inode: int, k: int) -> int:
        return next((i for i in range(k, 0, -1) if self._moments[i].synced == inode), 0)

    # -- watching -----------------------------------------------------------------------------

    def has(self, place: Any) -> bool:
        """Whether a path or the file of a descriptor lies in the folder."""
        if isinstance(place, int):
            status = os.fstat(place)
            return (status.st_dev, status.st_ino) in self._held
        full = os.path.abspath(os.fsdecode(place))
        return full == self._root or full.startswith(self._root + os.sep)

    def before(self) -> None:
        """Let a change of the folder happen, unless its process is dead."""
        with self._lock:
            if self._life == 0:
                raise KilledError
            if self._life is not None:
                self._life -= 1

    def done(self, kind: str, place: Any) -> None:
        """Take note of a change."""
        if kind == "write" and not self._every_write:
            return
        inode = os.fstat(place).st_ino if isinstance(place, int) else None
        path = self._name(inode) if inode else os.path.relpath(os.fsdecode(place), self._root)
        self._note(kind, path, inode if kind == "sync" else None)

    def _name(self, inode: int) -> str:
        names = (names for moment in reversed(self._moments) for names in moment.names.values())
        known = (name for folder in names for name, its in folder.items() if its == inode)
        return next(known, ".")

    def _note(self, kind: str, path: str, synced: int | None = None) -> None:
        """Keep what the folder holds now."""
        with self._lock:
            names: dict[int, dict[str, int]] = {}
            contents = dict(self._moments[-1].contents) if self._moments else {}
            todo = [self._root]
            for folder in todo:
                entries = names[self._hold(folder)] = {}
                for entry in os.scandir(folder):
                    inode = entries[entry.name] = self._hold(entry.path)
                    if entry.is_dir():
                        todo.append(entry.path)
                    else:
                        contents[inode] = b""
            for (_, inode), descriptor in self._held.items():
                if inode in contents:
                    contents[inode] = os.pread(descriptor, os.fstat(descriptor).st_size, 0)
            self._moments.append(_Moment(kind, path, synced, names, contents))

    def _hold(self, path: str) -> int:
        status = os.stat(path)
        key = (status.st_dev, status.st_ino)
        if key not in self._held:
            self._held[key] = os.open(path, os.O_RDONLY)
        return status.st_ino


def _descriptors() -> set[int]:
    """Those that are open; not the one by which they are listed."""
    listed = [Path("/proc/self/fd", name) for name in os.listdir("/proc/self/fd")]
    return {int(path.name) for path in listed if path.is_symlink()}


def _rebuild(tree: Tree, folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, content in tree.items():
        if content is None:
            (folder / name).mkdir()
        else:
            (folder / name).write_bytes(content)
