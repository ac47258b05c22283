"""Weakens the project in copies and runs tests there."""

import compileall
import json
import os
import py_compile
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from tests.guards.entry import ROOT

COPIED = (
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "README.md",
    "firmware_notes",
    "hardware",
    "pyproject.toml",
    "rig",
    "tests",
)

T = TypeVar("T")
R = TypeVar("R")


class Ran(NamedTuple):
    """What became of one run of tests."""

    code: int
    """Exit code of pytest; −1 if the time was up, −2 if its process ended itself."""
    failed: list[str]
    seconds: dict[str, float]
    """Node id → how long it took, for each test that ran."""

    def killed(self, tests: Sequence[str]) -> bool:
        """Whether each of these tests failed, one of its cases at least."""
        if self.code < 0:
            # A test that hangs or takes the process down has noticed it.
            return True
        return all(any(_is_of(failed, test) for failed in self.failed) for test in tests)


def _is_of(node_id: str, test: str) -> bool:
    return node_id == test or node_id.startswith((test + "[", test + "::"))


class Copy:
    """A copy of the project with a process that runs tests in it.

    Args:
        folder: where the copy is made.
    """

    def __init__(self, folder: Path) -> None:
        self.root = folder
        ignore = shutil.ignore_patterns("__pycache__", "*.pyc")
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, folder / name, ignore=ignore)
            elif (ROOT / name).exists():
                shutil.copy2(ROOT / name, folder / name)
        # By hash: a change within the same second and of the same length is seen too.
        compileall.compile_dir(
            folder / "rig", quiet=2, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH
        )
        self._environment = os.environ | {
            "PYTHONPATH": str(folder),
            "PYTHONDONTWRITEBYTECODE": "1",
            "OPENBLAS_NUM_THREADS": "1",
            "PYTEST_ADDOPTS": "",
        }
        self._server: subprocess.Popen[str] | None = None

    def run(self, tests: Sequence[str], limit_s: float, **more: Any) -> Ran:
        """Run tests as the copy stands now."""
        if self._server is None:
            self._server = subprocess.Popen(
                [sys.executable, "-m", "tests.guards.server"],
                cwd=self.root,
                env=self._environment,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        ask = {"tests": list(tests), "limit_s": limit_s, "log": str(self.root / "last.log")} | more
        self._server.stdin.write(json.dumps(ask) + "\n")
        self._server.stdin.flush()
        answer = json.loads(self._server.stdout.readline())
        return Ran(answer["code"], answer["failed"], answer["seconds"])

    @property
    def last_log(self) -> str:
        """What the tests printed last."""
        return (self.root / "last.log").read_text("utf-8", errors="replace")

    @contextmanager
    def changed(self, path: Path, text: str) -> Iterator[None]:
        """One file reads otherwise for a while."""
        kept = (self.root / path).read_bytes()
        (self.root / path).write_text(text, "utf-8")
        try:
            yield
        finally:
            (self.root / path).write_bytes(kept)

    def close(self) -> None:
        """End the process."""
        if self._server is not None:
            self._server.communicate()


def each(work: Callable[[Copy, T], R], items: Sequence[T], workers: int) -> Iterator[R]:
    """Do something with each item, as many at a time as there are workers; results in order.

    Args:
        work: called with a copy of its own and an item.
        items: what to work on.
        workers: how many copies.
    """
    with tempfile.TemporaryDirectory(prefix="rig-guards-") as folder:
        copies: list[Copy] = []
        for number in range(max(1, min(workers, len(items)))):
            (Path(folder) / str(number)).mkdir()
            copies.append(Copy(Path(folder) / str(number)))
        free = list(copies)

        def one(item: T) -> R:
            copy = free.pop()
            try:
                return work(copy, item)
            finally:
                free.append(copy)

        pool = ThreadPoolExecutor(len(copies))
        try:
            yield from pool.map(one, items)
        finally:
            pool.shutdown(cancel_futures=True)
            for copy in copies:
                copy.close()
