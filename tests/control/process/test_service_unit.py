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

ROOT = Path(__file__).parents[3]
HOME = Path("/var/lib/rig")
"""As `firmware_notes/setup.sh` lays it out."""


def of_pi(*, unattended: bool = False, page: bool = False) -> str:
    where = ("rig", "/opt/rig/bin/rig", HOME, HOME / "runs", Path("/etc/rig/rig.toml"), 10)
    return unit(*where, unattended=unattended, page=page)


@pytest.mark.parametrize(("name", "page"), [("rig.service", False), ("rig-page.service", True)])
def test_the_notes_show_the_units_as_they_are(name: str, page: bool) -> None:
    assert (ROOT / "firmware_notes" / name).read_text("utf-8") == of_pi(page=page)


def test_there_are_two_units_that_exclude_each_other() -> None:
    names = {path.name for path in (ROOT / "firmware_notes").glob("*.service")}
    assert names == {"rig.service", "rig-page.service"}
    assert "Conflicts=rig-page.service" in of_pi()
    page = of_pi(page=True)
    assert "Conflicts=rig.service" in page
    assert "panel --open-to-network --rig /etc/rig/rig.toml --out /var/lib/rig/runs\n" in page


def test_both_units_wait_for_a_clock_that_is_set() -> None:
    """The target alone waits for nothing: it needs the service that waits."""
    for text in (of_pi(), of_pi(page=True)):
        assert "Wants=time-sync.target systemd-time-wait-sync.service\n" in text
        assert "After=time-sync.target" in text


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
@pytest.mark.parametrize("page", [False, True])
def test_systemd_finds_nothing_wrong_with_it(tmp_path: Path, page: bool) -> None:
    rig = tmp_path / "rig"
    rig.write_text("#!/bin/sh\n")
    rig.chmod(0o755)
    file = tmp_path / ("rig-page.service" if page else "rig.service")
    text = unit("root", str(rig), tmp_path, tmp_path, None, 1, unattended=True, page=page)
    file.write_text(text, "utf-8")
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
