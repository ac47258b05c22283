"""The table fits the code: every place is there, every test named exists, no limit is left out."""

import ast
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.guards.entry import ROOT, Guard, Scaled
from tests.guards.syntax import scope
from tests.guards.tables import ENTRIES, NO_LIMITS

WITH_LIMITS = ("analysis", "control", "procedures", "devices", "calibration", "motion")


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse((ROOT / path).read_text("utf-8"))


def limits(package: str) -> Iterator[tuple[str, str]]:
    """Module and name of each constant of a package that is a number."""
    for path in sorted((ROOT / "rig" / package).rglob("*.py")):
        relative = path.relative_to(ROOT)
        for node in _tree(relative).body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            if isinstance(node, ast.AnnAssign) and node.value is not None:
                targets = [node.target]
            for target in targets:
                if isinstance(target, ast.Name) and target.id.isupper() and _is_number(node):
                    yield ".".join(relative.with_suffix("").parts), target.id


def _is_number(node: ast.stmt) -> bool:
    assert isinstance(node, ast.Assign | ast.AnnAssign)
    assert node.value is not None
    inner = list(ast.walk(node.value))
    is_sum = all(
        isinstance(one, ast.Constant | ast.BinOp | ast.UnaryOp | ast.operator | ast.unaryop)
        for one in inner
    )
    numbers = [one.value for one in inner if isinstance(one, ast.Constant)]
    return is_sum and all(type(one) in (int, float) for one in numbers)


@pytest.mark.parametrize("package", sorted({one.package for one in ENTRIES}))
def test_every_place_is_there_and_every_weakening_changes_it(package: str) -> None:
    """A guard whose place is gone would never be tried again."""
    broken = []
    for one in ENTRIES:
        if one.package == package:
            try:
                assert one.weakened(ROOT) != (ROOT / one.path).read_text("utf-8")
            except Exception as error:
                broken.append(f"{one}: {error!r}")
    assert not broken, "\n".join(broken)


def test_every_test_named_exists() -> None:
    missing = []
    for one in ENTRIES:
        for test in one.tests:
            path, _, name = test.partition("::")
            try:
                scope(_tree(Path(path)), name.partition("[")[0].replace("::", "."))
            except Exception as error:
                missing.append(f"{one}: {test}: {error!r}")
        if not one.tests:
            missing.append(f"{one}: no test is named")
    assert not missing, "\n".join(missing)


def test_no_entry_is_there_twice() -> None:
    twice = [name for name, number in Counter(map(str, ENTRIES)).items() if number > 1]
    assert not twice


@pytest.mark.parametrize("package", WITH_LIMITS)
def test_every_limit_has_an_entry(package: str) -> None:
    """A new limit needs a test on both sides of it, or a reason in `NO_LIMITS` why not."""
    entries = {(one.module, one.place) for one in ENTRIES if isinstance(one.weakening, Scaled)}
    missing = [
        f"{module}.{name}"
        for module, name in limits(package)
        if (module, name) not in entries and f"{module}.{name}" not in NO_LIMITS
    ]
    assert not missing, f"limits without an entry in tests/guards/tables/{package}.py: {missing}"


def test_exemptions_are_needed() -> None:
    """A reason for something that is gone or has an entry by now only misleads."""
    every = {f"{module}.{name}" for package in WITH_LIMITS for module, name in limits(package)}
    entries = {f"{one.module}.{one.place}" for one in ENTRIES if isinstance(one.weakening, Scaled)}
    assert set(NO_LIMITS) <= every - entries


def test_a_limit_is_recognised_by_its_value() -> None:
    found = dict.fromkeys(name for _, name in limits("analysis"))
    assert "MISMATCH_DEG" in found
    assert "KINETIC_RATIOS" not in found, "a pair is none"


def _guard(module: str, place: str) -> Guard:
    return Guard(module, place, Scaled(2.0), ("tests/guards/test_table.py::_guard",))


def test_a_moved_file_needs_another_path_only() -> None:
    here = _guard("rig.analysis.angle.ramp", "MISMATCH_DEG")
    assert here.digest(ROOT) == here.digest(ROOT)
    other = _guard("rig.analysis.angle.ramp", "SILENCE_S")
    assert here.digest(ROOT) != other.digest(ROOT)
