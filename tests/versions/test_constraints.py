"""The versions tested: every package has one, it is allowed, and uv finds packages as pip does."""

import importlib.util
import re
import tomllib
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LINES = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
PINS = {
    canonicalize_name(pin.name): pin.specifier
    for pin in (Requirement(line) for line in LINES if not line.startswith("#"))
}
ASKED = [
    *PROJECT["build-system"]["requires"],
    *PROJECT["project"]["dependencies"],
    *(each for extra in PROJECT["project"]["optional-dependencies"].values() for each in extra),
]


@pytest.fixture(scope="module")
def versions() -> ModuleType:
    spec = importlib.util.spec_from_file_location("ci_versions", ROOT / ".ci" / "versions.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("asked", ASKED)
def test_each_package_is_held_at_a_version_that_is_allowed(asked: str) -> None:
    requirement = Requirement(asked)
    (pin,) = PINS[canonicalize_name(requirement.name)]
    assert pin.operator == "=="
    assert requirement.specifier.contains(pin.version)


def test_a_package_stands_once_and_names_no_place() -> None:
    assert len(PINS) == len(LINES) - 1
    assert all(re.fullmatch(r"[\w.-]+==[\w.]+( ; .+)?", line) for line in LINES[1:])
    assert re.search(r"\d{4}-\d\d-\d\d with Python 3[.\d]+ by `.+`", LINES[0])


def test_uv_is_told_what_pip_is_set_to(versions: ModuleType) -> None:
    said = versions.uv_variables(
        ":env:.index-url='https://mine.invalid/simple'\n"
        ":env:.no-input='1'\n"
        "global.extra-index-url='file:///a\\nfile:///b'\n"
        "global.find-links='/wheels /more'\n"
        "global.index-url='https://site.invalid/simple'\n"
    )
    assert said["UV_DEFAULT_INDEX"] == "https://mine.invalid/simple"
    assert said["UV_INDEX"] == "file:///a file:///b"
    assert said["UV_FIND_LINKS"] == "/wheels,/more"


def test_direct_packages_are_told_from_others(versions: ModuleType) -> None:
    """What `lowest` must not hold at the tested version."""
    direct = versions.direct_names()
    assert {versions.name_of(line) for line in LINES if versions.name_of(line) in direct} == direct
    assert {"adafruit-circuitpython-bme280", "scipy-stubs", "uvicorn"} <= direct
    assert {"click", "anyio", "adafruit-blinka"} & direct == set()
