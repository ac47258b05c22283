"""`rig panel` before it serves anything: what it refuses, in one sentence."""

import socket
from importlib.machinery import ModuleSpec
from importlib.util import find_spec
from pathlib import Path

import pytest

from rig.commands import panel
from tests.commands.conftest import Rig
from tests.panel.study.club import make_club


def test_the_page_goes_by_real_time(rig: Rig) -> None:
    said = rig("panel", "--twin", "--speed", "fast")
    assert said.code == 2
    assert "real time" in said.err


def test_a_port_that_is_taken_is_told(rig: Rig) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        said = rig("panel", "--twin", "--port", str(other.getsockname()[1]))
    assert said.code == 2
    assert "choose another with --port" in said.err


@pytest.mark.parametrize("package", ["starlette", "uvicorn"])
def test_without_its_packages_it_says_what_to_install(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, package: str
) -> None:
    def found(name: str) -> ModuleSpec | None:
        return None if name == package else find_spec(name)

    monkeypatch.setattr(panel, "find_spec", found)
    said = rig("panel", "--twin")
    assert said.code == 2
    assert (
        f"needs the package {package}: in the source folder, `pip install '.[panel]'`" in said.err
    )


@pytest.mark.parametrize(("model", "is_alone"), [("Raspberry Pi 5", False), ("", True)])
def test_a_study_without_a_rig_is_served_alone(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, model: str, is_alone: bool
) -> None:
    served: list[Path] = []
    monkeypatch.setattr(
        "rig.panel.study.alone.serve_alone", lambda study, **_: served.append(study)
    )
    monkeypatch.setattr(panel, "MODEL", tmp_path / "model")
    if model:
        (tmp_path / "model").write_text(model)
    folder = make_club(tmp_path / "club").path
    said = rig("panel", str(folder))
    assert said.code == (0 if is_alone else 2)
    assert served == [folder] * is_alone


def test_what_is_no_study_is_told(rig: Rig) -> None:
    said = rig("panel", "nowhere")
    assert said.code == 2
    assert "There is no study folder nowhere" in said.err
