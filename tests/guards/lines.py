"""Which tests run which lines of `rig`, and how long each test takes.

Measured once by running the quick suite under coverage and kept in a hidden folder; random
mutations then run only the tests that meet the changed line.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.guards.entry import ROOT
from tests.guards.runner import Copy, each

KEPT = ROOT / ".guards_cache" / "lines.json"
MAP_LIMIT_S = 3600.0


class PerTest:
    """Pytest plugin that measures the lines of each test on its own.

    Args:
        folder: where the measured data goes.
    """

    def __init__(self, folder: Path) -> None:
        import coverage

        self._coverage = coverage.Coverage(
            data_file=str(folder), source=["rig"], config_file=False, messages=False
        )
        self._coverage.start()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Fixtures of a module count for the first test that needs them."""
        self._coverage.switch_context(item.nodeid)
        yield
        self._coverage.switch_context("")

    def pytest_unconfigure(self) -> None:
        """Write the data."""
        self._coverage.stop()
        self._coverage.save()


class Lines:
    """The map."""

    def __init__(self, kept: dict[str, Any]) -> None:
        self.seconds: dict[str, float] = kept["seconds"]
        self._tests: list[str] = kept["tests"]
        self._lines: dict[str, dict[str, list[int]]] = kept["lines"]

    def tests(self, path: str, lines: set[int]) -> set[str]:
        """Node ids of the tests that run one of these lines of a file."""
        known = self._lines.get(path, {})
        return {self._tests[number] for line in lines for number in known.get(str(line), ())}


def load(workers: int, *, again: bool) -> Lines:
    """The map, measured if there is none or if it is wanted again."""
    if again or not KEPT.exists():
        KEPT.parent.mkdir(exist_ok=True)
        KEPT.write_text(json.dumps(_measure(workers)), "utf-8")
    return Lines(json.loads(KEPT.read_text("utf-8")))


def _measure(workers: int) -> dict[str, Any]:
    from coverage import CoverageData

    files = sorted(
        str(path.relative_to(ROOT))
        for path in (ROOT / "tests").rglob("test_*.py")
        if path.relative_to(ROOT).parts[1] not in ("bench", "kernel", "guards")
    )
    shares = [files[number::workers] for number in range(workers)]
    seconds: dict[str, float] = {}
    numbers: dict[str, int] = {}
    lines: dict[str, dict[str, list[int]]] = {}

    def run(copy: Copy, share: list[str]) -> None:
        data_file = copy.root / ".lines"
        ran = copy.run(share, MAP_LIMIT_S, map_to=str(data_file), writes_bytecode=True)
        seconds.update(ran.seconds)
        data = CoverageData(str(data_file))
        data.read()
        for name in data.measured_files():
            path = str(Path(name).relative_to(copy.root))
            of_file = lines.setdefault(path, {})
            for line, contexts in data.contexts_by_lineno(name).items():
                known = of_file.setdefault(str(line), [])
                known += [numbers.setdefault(one, len(numbers)) for one in contexts if one]

    for _ in each(run, shares, workers):
        pass
    return {"seconds": seconds, "tests": list(numbers), "lines": lines}
