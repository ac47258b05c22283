"""Runs tests in forked children that find the slow libraries loaded already.

Started in a copy of the project: `python -m tests.guards.server`. A line of JSON on stdin asks for
one run, a line on stdout answers it. `rig` itself is never imported here, so that each child meets
the source as it lies in the copy.
"""

import importlib
import json
import os
import select
import signal
import sys
import traceback
import warnings
from contextlib import suppress
from pathlib import Path
from typing import Any

PRELOADED = (
    "hypothesis",
    "jinja2",
    "msgspec",
    "numpy",
    "pytest",
    "rich.console",
    "rich.table",
    "scipy.stats",
    "smbus2",
    "typer",
    "typer.testing",
)


class Watch:
    """Notes which tests ran, which failed, and for how long."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Called by pytest for each phase of each test."""
        before = self.seconds.get(report.nodeid, 0.0)
        self.seconds[report.nodeid] = before + report.duration
        if report.failed and report.nodeid not in self.failed:
            self.failed.append(report.nodeid)


def _child(ask: dict[str, Any], answer_fd: int) -> None:
    os.setsid()
    os.environ.update(ask.get("environment", {}))
    quiet = os.open(ask["log"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    import pytest

    sys.dont_write_bytecode = not ask.get("writes_bytecode", False)
    watch = Watch()
    plugins: list[Any] = [watch]
    if "map_to" in ask:
        lines = importlib.import_module("tests.guards.lines")
        plugins.append(lines.PerTest(Path(ask["map_to"])))
    options = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--tb=short"]
    # Plugins that were loaded beforehand.
    options += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
    code = pytest.main([*options, *ask.get("options", []), *ask["tests"]], plugins=plugins)
    answer = {"code": int(code), "failed": watch.failed, "seconds": watch.seconds}
    with os.fdopen(answer_fd, "w") as pipe:
        json.dump(answer, pipe)


def _serve(ask: dict[str, Any]) -> dict[str, Any]:
    read_fd, write_fd = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_fd)
        try:
            _child(ask, write_fd)
        except BaseException:
            traceback.print_exc()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(0)
    os.close(write_fd)
    ready, _, _ = select.select([read_fd], [], [], ask["limit_s"])
    with os.fdopen(read_fd) as pipe:
        text = pipe.read() if ready else ""
    # What a test has started goes with it.
    with suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    if not ready:
        return {"code": -1, "failed": [], "seconds": {}, "late": True}
    answer: dict[str, Any] = json.loads(text) if text else {"code": -2, "failed": [], "seconds": {}}
    return answer


def main() -> None:
    """Answer until stdin ends."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in PRELOADED:
            importlib.import_module(name)
    for line in sys.stdin:
        print(json.dumps(_serve(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
