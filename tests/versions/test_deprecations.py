"""A dependency that deprecates something disturbs no command."""

import os
import re
import subprocess
import sys
import warnings
from pathlib import Path

import pytest

import rig

NOISY = """
import builtins, sys, warnings

take = builtins.__import__

def noisy(name, scope=None, *rest, **more):
    package = name.partition(".")[0]
    if (scope or {{}}).get("__name__", "").startswith("rig.") and package in {packages!r}:
        with open({log!r}, "a") as file:
            print(package, file=file)
        for kind in (DeprecationWarning, PendingDeprecationWarning):
            warnings.warn(f"{{name}} goes soon", kind, stacklevel=2)
    return take(name, scope, *rest, **more)

builtins.__import__ = noisy
"""
FILTER = re.compile(r"(?:simplefilter|filterwarnings|captureWarnings)\(\s*([^,)]+)")
PACKAGES = {"adafruit_bme280", "gpiozero", "msgspec", "numpy", "typer"}


def test_deprecations_are_neither_raised_nor_shown(tmp_path: Path) -> None:
    """Each import of a dependency by `rig` warns, as if `rig` had used something deprecated."""
    log = tmp_path / "log.txt"
    noisy = NOISY.format(packages=PACKAGES, log=str(log))
    (tmp_path / "sitecustomize.py").write_text(noisy, encoding="utf-8")
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONWARNINGS"}
    environment["PYTHONPATH"] = os.pathsep.join([str(tmp_path), *sys.path])
    command = "from rig.commands.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", command, "run", "--twin", "--now", "--out", "runs"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "goes soon" not in done.stdout + done.stderr
    assert set(log.read_text(encoding="utf-8").split()) == PACKAGES


@pytest.mark.parametrize("kind", [DeprecationWarning, FutureWarning, PendingDeprecationWarning])
def test_only_what_the_project_itself_uses_fails_the_tests(kind: type[Warning]) -> None:
    with warnings.catch_warnings(record=True) as shown:
        for module in ("click.utils", "rigid", "testsuite.rig"):
            warnings.warn_explicit("goes soon", kind, "file.py", 1, module)
    assert len(shown) == 3
    for module in ("rig", "rig.analysis.law", "tests.report.fonts"):
        with pytest.raises(kind):
            warnings.warn_explicit("goes soon", kind, "file.py", 1, module)


def test_no_module_raises_or_shows_warnings() -> None:
    """The same for all that the run above does not reach: a filter may only ignore."""
    actions = {
        action
        for path in Path(rig.__file__).parent.rglob("*.py")
        for action in FILTER.findall(path.read_text(encoding="utf-8"))
    }
    assert actions == {'"ignore"'}
