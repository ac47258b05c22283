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
HOME = Path("/var/lib/rig")
"""As `firmware_notes/setup.sh` lays it out."""


def of_pi(*, unattended: bool = False) -> str:
    settings = Path("/etc/rig/rig.toml")
    runs = HOME / "runs"
    return unit("rig", "/opt/rig/bin/rig", HOME, runs, settings, 10, unattended=unattended)


def test_the_notes_show_the_unit_as_it_is() -> None:
    assert (ROOT / "firmware_notes" / "rig.service").read_text("utf-8") == of_pi()


def test_there_is_one_unit() -> None:
    assert [path.name for path in ROOT.rglob("*.service")] == ["rig.service"]


def test_what_the_command_prints_is_that_unit_but_for_user_and_paths(tmp_path: Path) -> None:
    command = [str(Path(sys.executable).with_name("rig")), "service"]
    said = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)

    def plain(text: str) -> list[str]:
        keys = ("User=", "WorkingDirectory=", "ExecStart=", "ExecStopPost=")
        lines = text.splitlines()
        return [next((key for key in keys if line.startswith(key)), line) for line in lines]

    assert plain(said.stdout) == plain(of_pi())


def test_only_a_rig_with_a_blade_goes_unattended() -> None:
    assert "run --service --rig" in of_pi()
    assert "run --service --unattended --rig" in of_pi(unattended=True)


def test_a_path_with_a_space_or_percent_is_quoted() -> None:
    text = unit(
        "ann",
        "/opt/my rig/bin/rig",
        Path("/a%b"),
        Path("/a%b/runs"),
        Path("/x y.toml"),
        3,
        unattended=False,
    )
    assert 'ExecStopPost="/opt/my rig/bin/rig" safe --rig "/x y.toml"' in text
    assert "WorkingDirectory=/a%%b\n" in text
    assert "--repeat 3 --out /a%%b/runs" in text


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze")
def test_systemd_finds_nothing_wrong_with_it(tmp_path: Path) -> None:
    rig = tmp_path / "rig"
    rig.write_text("#!/bin/sh\n")
    rig.chmod(0o755)
    file = tmp_path / "rig.service"
    file.write_text(unit("root", str(rig), tmp_path, tmp_path, None, 1, unattended=True), "utf-8")
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
        told: list[str] = []
        while told.count("WATCHDOG=1") < 5:
            told.append(manager.recv(4096).decode())
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "Ended by SIGTERM" in errors
    assert told.index("READY=1") < told.index("WATCHDOG=1")
    assert any(line.startswith("STATUS=parked: Press start") for line in told)
