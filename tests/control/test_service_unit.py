"""The systemd unit: as the notes show it, and as systemd takes it."""

import os
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from rig.commands.service import unit

ROOT = Path(__file__).parents[2]
HOME = Path("/home/pi/rig")


def of_pi() -> str:
    return unit("pi", f"{HOME}/.venv/bin/rig", HOME, HOME / "runs", None, 10)


def test_the_notes_show_the_unit_as_it_is() -> None:
    assert (ROOT / "firmware_notes" / "rig.service").read_text("utf-8") == of_pi()


def test_a_path_with_a_space_or_percent_is_quoted() -> None:
    text = unit("ann", "/opt/my rig/bin/rig", Path("/a%b"), Path("/a%b/runs"), Path("/x y.toml"), 3)
    assert 'ExecStopPost="/opt/my rig/bin/rig" safe --rig "/x y.toml"' in text
    assert "WorkingDirectory=/a%%b\n" in text
    assert "--repeat 3 --out /a%%b/runs" in text


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze")
def test_systemd_finds_nothing_wrong_with_it(tmp_path: Path) -> None:
    rig = tmp_path / "rig"
    rig.write_text("#!/bin/sh\n")
    rig.chmod(0o755)
    file = tmp_path / "rig.service"
    file.write_text(unit("root", str(rig), tmp_path, tmp_path, None, 1), "utf-8")
    checked = subprocess.run(
        ["/usr/bin/env", "systemd-analyze", "verify", str(file)], capture_output=True, text=True
    )
    assert checked.stderr == ""
    assert checked.returncode == 0


def test_the_service_stands_by_tells_the_manager_and_ends_at_a_signal(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(30.0)
        command = [str(Path(sys.executable).with_name("rig")), "run", "--service", "--twin"]
        process = subprocess.Popen(
            [*command, "--speed", "real", "--out", str(tmp_path / "runs")],
            env={**os.environ, "NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "400000"},
            stderr=subprocess.PIPE,
            text=True,
        )
        told = []
        while told.count("WATCHDOG=1") < 5:
            told.append(manager.recv(4096).decode())
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "Stopped by SIGTERM" in errors
    assert told.index("READY=1") < told.index("WATCHDOG=1")
    assert any(line.startswith("STATUS=parked: Press start") for line in told)
