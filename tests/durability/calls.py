"""The calls by which Python changes files, passed on with a word to whoever watches."""

import io
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any, Protocol
from unittest import mock

Call = Callable[..., Any]


class Watcher(Protocol):
    """Who is told; places are paths or descriptors."""

    def has(self, place: Any) -> bool:
        """Whether this place is watched."""

    def before(self) -> None:
        """A call is about to be made; may raise."""

    def done(self, kind: str, place: Any) -> None:
        """A call was made."""


@contextmanager
def watched(watcher: Watcher) -> Iterator[None]:
    """Tell the watcher of each change."""
    by_name: dict[str, Call] = {"open": _os_open(watcher)}
    for name in ("mkdir", "rmdir", "rename", "replace", "link", "unlink", "remove"):
        by_name[name] = _told(watcher, name, getattr(os, name))
    for name in ("write", "pwrite", "writev", "ftruncate"):
        by_name[name] = _told(watcher, "write", getattr(os, name))
    for name in ("fsync", "fdatasync"):
        by_name[name] = _told(watcher, "sync", getattr(os, name))
    with ExitStack() as stack:
        for name, call in by_name.items():
            stack.enter_context(mock.patch.object(os, name, call))
        opener = _opener(watcher)
        stack.enter_context(mock.patch("io.open", opener))
        stack.enter_context(mock.patch("builtins.open", opener))
        yield


def _told(watcher: Watcher, kind: str, real: Call) -> Call:
    def call(place: Any, *more: Any, **words: Any) -> Any:
        if not watcher.has(place):
            return real(place, *more, **words)
        watcher.before()
        # A true sync would only take time: the watcher knows what it would have kept.
        result = None if kind == "sync" else real(place, *more, **words)
        watcher.done(kind, place)
        return result

    return call


def _os_open(watcher: Watcher) -> Call:
    real = os.open

    def call(path: Any, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        if not (flags & (os.O_CREAT | os.O_TRUNC) and watcher.has(path)):
            return real(path, flags, mode, dir_fd=dir_fd)
        watcher.before()
        is_new = not os.path.lexists(path)
        descriptor = real(path, flags, mode, dir_fd=dir_fd)
        if is_new or flags & os.O_TRUNC:
            watcher.done("create" if is_new else "write", path)
        return descriptor

    return call


def _opener(watcher: Watcher) -> Call:
    """Python's `open`, so that what passes its buffers is seen as it leaves them."""
    real = io.open

    class Raw(io.FileIO):
        def write(self, data: Any, /) -> int:
            watcher.before()
            taken = super().write(data)
            watcher.done("write", self.fileno())
            return taken

        def truncate(self, size: int | None = None, /) -> int:
            watcher.before()
            length = super().truncate(size)
            watcher.done("write", self.fileno())
            return length

    def call(file: Any, mode: str = "r", buffering: int = -1, *more: Any, **words: Any) -> Any:
        if not (set(mode) & set("wxa+") and watcher.has(file)):
            return real(file, mode, buffering, *more, **words)
        watcher.before()
        is_new = not os.path.lexists(file)
        raw = Raw(file, mode.replace("b", "").replace("t", ""))
        if is_new or "w" in mode:
            watcher.done("create" if is_new else "write", file)
        if buffering == 0:
            return raw
        buffered = io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)
        return buffered if "b" in mode else io.TextIOWrapper(buffered, *more, **words)

    return call
