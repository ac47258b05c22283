"""The web server has a process of its own, and its lines count when the suite is measured."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from coverage import CoverageData

ROOT = Path(__file__).parents[2]
PARENT = """
from http.client import HTTPConnection

from rig.panel.form import usual_of
from rig.panel.link import Setup
from rig.panel.server import WebServer
from rig.settings.model import Settings

setup = Setup(usual=usual_of(Settings(), "twin"), is_open=False, port=0)
with WebServer(None, None, print, setup, "127.0.0.1") as server:
    connection = HTTPConnection("127.0.0.1", server.port, timeout=30)
    connection.request("GET", "/")
    assert connection.getresponse().status == 200
    connection.close()
"""


def lines(file: Path) -> dict[str, set[int]]:
    """Lines that one process has run, for each module of the page."""
    data = CoverageData(str(file))
    data.read()
    try:
        modules = {
            name: f"{ROOT}/rig/panel/{name}.py" for name in ("app", "seats", "stream", "web")
        }
        return {name: set(seen) for name, path in modules.items() if (seen := data.lines(path))}
    finally:
        data.close()


@pytest.mark.long
def test_lines_of_the_web_process_are_counted(tmp_path: Path) -> None:
    parent = tmp_path / "parent.py"
    parent.write_text(PARENT, "utf-8")
    environment = {k: v for k, v in os.environ.items() if not k.startswith("COVERAGE_")}
    environment["PYTHONPATH"] = str(ROOT)
    options = ["--rcfile", str(ROOT / "pyproject.toml"), "--data-file", str(tmp_path / "data")]
    command = [sys.executable, "-m", "coverage", "run", *options, str(parent)]
    subprocess.run(command, cwd=ROOT, env=environment, check=True, timeout=60)
    parent_lines, *_, web_lines = sorted(  # a spare imports and does nothing
        map(lines, tmp_path.glob("data.*")), key=lambda seen: len(seen.get("app", ()))
    )
    assert parent_lines.keys() == {"seats"}, "imported for the wording of a form"
    assert web_lines.keys() == {"app", "seats", "stream", "web"}
    assert web_lines["seats"] > parent_lines["seats"]
