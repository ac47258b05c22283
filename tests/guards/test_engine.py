"""The machinery itself: what it weakens, what it finds gone, what counts as killed."""

from pathlib import Path

import pytest

from tests.guards.entry import Guard, always, change, inverted, limit, never, swapped, without
from tests.guards.lines import Lines
from tests.guards.mutations import quickest_tests
from tests.guards.operators import faults, make
from tests.guards.runner import Copy, Ran
from tests.guards.syntax import GoneError, Source

MODULE = '''"""A module."""

LIMIT_DEG = 2.0


class Board:
    """Über."""

    def look(self, angle: float) -> str:
        self.first()
        if abs(angle) > LIMIT_DEG and self.is_open:
            raise ValueError(f"{angle} is too much", angle)
        self.second(
            angle,
        )
        return "ä" if angle > 0 else "ö"
'''


def weakened(guard: Guard) -> str:
    return guard.weakening.apply(Source(MODULE), guard.place)


@pytest.mark.parametrize(
    ("guard", "old", "new"),
    [
        (limit("rig.x", "LIMIT_DEG"), "LIMIT_DEG = 2.0", "LIMIT_DEG = (2.0) * 2"),
        (limit("rig.x", "LIMIT_DEG", times=0.5), "LIMIT_DEG = 2.0", "LIMIT_DEG = (2.0) * 0.5"),
        (change("rig.x", "Board.look", "abs(angle)", "angle"), "abs(angle)", "(angle)"),
        (without("rig.x", "Board", "self.first()"), "self.first()", "pass"),
        (without("rig.x", "Board", "raise ValueError(...)"), None, "is_open:\n            pass"),
        (never("rig.x", "Board", "self.is_open"), "self.is_open", "(False)"),
        (always("rig.x", "Board", "abs(...) > LIMIT_DEG"), "abs(angle) > LIMIT_DEG", "(True)"),
        (inverted("rig.x", "Board", "self.is_open"), "self.is_open", "(not (self.is_open))"),
        (
            without("rig.x", "", "if abs(...) > ... and ...:\n ..."),
            None,
            "self.first()\n        pass",
        ),
        (change("rig.x", "", "return ...", "return ''\nprint()"), None, "''\n        print()"),
    ],
)
def test_a_weakening_changes_only_its_place(guard: Guard, old: str | None, new: str) -> None:
    changed = weakened(guard)
    assert new in changed
    if old is not None:
        assert changed == MODULE.replace(old, new)


def test_statements_change_places() -> None:
    changed = weakened(swapped("rig.x", "Board.look", "self.first()", "self.second(...)"))
    assert changed.index("self.second") < changed.index("is too much") < changed.index("self.first")


@pytest.mark.parametrize(
    "guard",
    [
        limit("rig.x", "LIMIT_MM"),
        change("rig.x", "Board.gone", "abs(angle)", "angle"),
        change("rig.x", "Board.look", "abs(other)", "angle"),
        change("rig.x", "Board.look", "angle", "0.0"),
        change("rig.x", "Board.look", "abs(angle)", "angle", nth=2),
    ],
)
def test_what_is_gone_or_not_the_only_one_is_reported(guard: Guard) -> None:
    with pytest.raises(GoneError):
        weakened(guard)


def test_a_weakening_that_is_not_python_is_refused() -> None:
    with pytest.raises(SyntaxError):
        weakened(change("rig.x", "Board.look", "self.first()", "if"))


@pytest.mark.parametrize(
    ("ran", "killed"),
    [
        (Ran(1, ["t.py::a[1]", "t.py::b"], {}), True),
        (Ran(1, ["t.py::a[1]"], {}), False),
        (Ran(1, ["t.py::ab", "t.py::b"], {}), False),
        (Ran(0, [], {}), False),
        (Ran(2, [], {}), False),
        (Ran(-1, [], {}), True),
    ],
)
def test_every_test_named_must_die(ran: Ran, killed: bool) -> None:
    assert ran.killed(["t.py::a", "t.py::b"]) is killed


def test_mutations_are_all_different_and_all_python() -> None:
    source = Source(MODULE)
    made = [make(source, one) for one in faults(source)]
    assert len({one.text for one in made}) == len(made)
    texts = {str(one) for one in made}
    assert "3: 2.0 → (2.0 * 2)" in texts
    assert "11: abs(angle) → (angle)" in texts
    assert '12: raise ValueError(f"{angle} is too much", angle) → pass' in texts


def test_a_default_meets_the_tests_of_its_folder_and_other_lines_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All quick ones, however many others went through the line when it was imported."""
    path = tmp_path / "rig" / "part" / "plain.py"
    path.parent.mkdir(parents=True)
    path.write_text("class Truth:\n    tilt_deg = 0.0\n\ndef tell():\n    return 1\n")
    monkeypatch.setattr("tests.guards.mutations.ROOT", tmp_path)
    met = [f"tests/other/test_o.py::o{number}" for number in range(3)]
    beside = "tests/part/test_p.py::quick"
    seconds = dict.fromkeys(met, 0.2) | {beside: 0.1, "tests/part/test_p.py::slow": 30.0}
    lines = {"rig/part/plain.py": {"2": [0, 1, 2], "5": [0, 1, 2]}}
    known = Lines({"seconds": seconds, "tests": met, "lines": lines})
    for line, expected in ((2, [beside, *met]), (5, met)):
        found = quickest_tests(known, "rig/part/plain.py", line)
        assert sorted(found) == sorted(expected)


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small project that stands where the real one does."""
    root = tmp_path / "project"
    (root / "rig").mkdir(parents=True)
    (root / "tests").mkdir()
    (root / "rig" / "__init__.py").write_text("")
    (root / "rig" / "plain.py").write_text("def double(x: int) -> int:\n    return 2 * x\n")
    (root / "tests" / "test_plain.py").write_text(
        "import subprocess, sys\n"
        "from rig.plain import double\n\n\n"
        "def test_here() -> None:\n    assert double(3) == 6\n\n\n"
        "def test_in_a_process_of_its_own() -> None:\n"
        "    code = 'import rig.plain; raise SystemExit(rig.plain.double(3) != 6)'\n"
        "    assert subprocess.run([sys.executable, '-c', code]).returncode == 0\n"
    )
    (root / "pyproject.toml").write_text("[tool.pytest.ini_options]\npythonpath = ['.']\n")
    here = Path(__file__).parent
    (root / "tests" / "guards").mkdir()
    for name in ("server", "lines", "runner", "entry", "syntax"):
        (root / "tests" / "guards" / f"{name}.py").write_text((here / f"{name}.py").read_text())
    monkeypatch.setattr("tests.guards.runner.ROOT", root)
    monkeypatch.setattr("tests.guards.server.PRELOADED", ())
    return root


def test_a_copy_is_weakened_and_its_tests_die(project: Path, tmp_path: Path) -> None:
    """Both in this process and in one that the test starts; nothing is left behind."""
    folder = tmp_path / "copy"
    folder.mkdir()
    copy = Copy(folder)
    tests = ["tests/test_plain.py::test_here", "tests/test_plain.py::test_in_a_process_of_its_own"]
    try:
        assert copy.run(tests, 30.0).code == 0
        with copy.changed(Path("rig/plain.py"), "def double(x: int) -> int:\n    return 3 * x\n"):
            assert copy.run(tests, 30.0).killed(tests)
        assert copy.run(tests, 30.0).code == 0
        with copy.changed(Path("rig/plain.py"), "def double(x):\n    while True: pass\n"):
            late = copy.run(tests[:1], 1.0)
        assert late.code == -1
    finally:
        copy.close()
    assert "3 * x" not in (project / "rig" / "plain.py").read_text()
