"""A whole series of the unmodified program; the twin is another process behind real nodes."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from far_pins import Writes, base_of_header
from twin_process import BAG, FACE, make_twin

from rig.calibration.file import save_calibration
from rig.clock import RealClock
from rig.control.process.lock import holder, lock_path
from rig.runfile.reader import RunFile, find_runs, read_run
from rig.settings.load import load_settings

HERE = Path(__file__).parent
RIG_TOML = """
[bus]
number = 7
[imu]
rate_hz = 104
[screw]
lead_mm = 8.0
full_steps_per_turn = 50
microsteps = 1
min_pulse_gap_us = 500
[motion]
rate_deg_s = 1.5
lowering_rate_deg_s = 2.0
[cycle]
dwell_s = 1.0
climate_interval_s = 4.0
[interlocks]
late_pulse_ms = 200.0
imu_silence_s = 5.0
"""
PATIENCE_S = 300.0
"""Of the guest's own clock."""
START = "from rig.commands.main import main; main()"
"""What the installed script `rig` does; this environment may not have it."""


class Twin:
    """The other process; `ask` sends a command and returns what it says of itself."""

    def __init__(self, settings_file: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "twin_process.py"), str(settings_file)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._line() == "ready"

    def _line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()

    def ask(self, *command: str) -> dict[str, Any]:
        assert self._process.stdin is not None
        self._process.stdin.write(" ".join(command or ("say",)) + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._line())
        return answer

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        assert self._process.wait(60) == 0


class Place(NamedTuple):
    """A rig that is wired up, and where its files are."""

    twin: Twin
    settings_file: Path
    clock: RealClock
    enable: int

    def rig(self, *arguments: str) -> "subprocess.Popen[str]":
        """Start the program as it is installed."""
        return subprocess.Popen(
            [sys.executable, "-c", START, *arguments],
            cwd=self.settings_file.parent,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def wait_until_raising(self, process: "subprocess.Popen[str]", above_deg: float) -> None:
        """Until the board is being raised and the bag has not begun to slide."""
        deadline_s = self.clock.time_s() + PATIENCE_S
        raised = len(self.twin.ask()["truths"])
        while self.clock.time_s() < deadline_s:
            state = self.twin.ask()
            if state["is_enabled"] and len(state["truths"]) > raised:
                if state["angle_deg"] >= above_deg:
                    return
            assert process.poll() is None, process.communicate()
            self.clock.pause_s(0.1)
        raise AssertionError("the board was not raised")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("rig")
    settings_file = folder / "rig.toml"
    settings_file.write_text(RIG_TOML)
    settings = load_settings(settings_file)
    calibration = make_twin(settings, RealClock()).calibration()
    save_calibration(folder / "calibration/2026-01-01.json", calibration)
    twin = Twin(settings_file)
    yield Place(twin, settings_file, RealClock(), settings.pins.enable)
    twin.close()


@pytest.fixture
def record(place: Place) -> Iterator[Writes]:
    with Writes(base_of_header(), "series") as writes:
        yield writes


def the_runs(folder: Path) -> list[RunFile]:
    return [read_run(path) for path in sorted(find_runs([folder]))]


def of(run: RunFile, event: str) -> list[Any]:
    return [entry for entry in run.events if entry.event == event]


def states(run: RunFile) -> list[str]:
    return [entry.detail["state"] for entry in of(run, "state")]


def test_a_series_is_made_from_start_to_end(place: Place, record: Writes, tmp_path: Path) -> None:
    before = place.twin.ask()
    process = place.rig(
        *("run", "--bag", BAG, "--face", FACE, "--repeat", "2", "--now", "--json"),
        *("--out", str(tmp_path)),
    )
    out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, err
    rows = json.loads(out)["runs"]
    after = place.twin.ask()
    assert after["lost"] == before["lost"]
    assert not after["is_enabled"]
    truths = after["truths"][len(before["truths"]) :]
    assert len(rows) == len(truths) == 2
    for row, truth in zip(rows, truths, strict=True):
        assert row["outcome"] == "slid"
        assert row["valid"], row["flags"]
        # Function, not accuracy: edges are driven some milliseconds late by the other process.
        assert abs(row["onset_angle_deg"] - truth["onset_angle_deg"]) < 0.5
        assert row["temperature_c"] is not None
        assert row["relative_humidity_pct"] is not None
    runs = the_runs(tmp_path)
    for run in runs:
        assert states(run) == [
            "homing",
            "placing",
            "dwelling",
            "raising",
            "sliding",
            "lowering",
            "parked",
        ]
        assert run.end is not None
        assert run.end.samples_lost == 0
    writes = record.take()
    pins = load_settings(place.settings_file).pins
    pulses = sum(w.level for w in writes if w.gpio == pins.step)
    assert pulses == after["pulses"] - before["pulses"]
    assert [w.level for w in writes if w.gpio == pins.enable][-1] is False


def test_the_emergency_stop_ends_a_series(place: Place, record: Writes, tmp_path: Path) -> None:
    pins = load_settings(place.settings_file).pins
    process = place.rig(
        "run", "--bag", BAG, "--face", FACE, "--repeat", "2", "--out", str(tmp_path)
    )
    place.wait_until_raising(process, 4.0)
    pressed_s = place.clock.time_s()
    place.twin.ask("press", "emergency_stop")
    driven_s = place.clock.time_s()
    out, err = process.communicate(timeout=PATIENCE_S)
    place.twin.ask("release", "emergency_stop")
    assert process.returncode == 1, err
    assert "emergency stop" in err.lower()
    assert "halted" in out
    (run,) = the_runs(tmp_path)
    assert run.end is not None
    assert run.end.outcome == "fault"
    assert states(run)[-2:] == ["raising", "halted"]
    (stop,) = of(run, "estop")
    started_s = of(run, "raise_started")[0].t_s
    assert stop.t_s > started_s
    writes = record.take()
    # One pulse may have been on its way when the level changed.
    assert sum(w.gpio == pins.step and w.level and w.t_s > driven_s for w in writes) <= 1
    last = [w for w in writes if w.gpio == pins.enable][-1]
    assert not last.level
    assert any(w.gpio == pins.step and w.level and w.t_s < pressed_s for w in writes)
    assert not place.twin.ask()["is_enabled"]


def test_killed_then_made_safe_then_resumed(place: Place, tmp_path: Path) -> None:
    settings = load_settings(place.settings_file)
    # As on a Pi, whose kernel leaves an output as it was when its process dies.
    place.twin.ask("fallback", str(place.enable), "high")
    process = place.rig(
        "run", "--bag", BAG, "--face", FACE, "--repeat", "2", "--out", str(tmp_path)
    )
    try:
        place.wait_until_raising(process, 4.0)
        assert holder(lock_path(settings.bus.number)) == process.pid
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=PATIENCE_S)
        assert process.returncode == -signal.SIGKILL
        assert place.twin.ask()["is_enabled"]
        (cut,) = the_runs(tmp_path)
        assert cut.end is None
        assert states(cut)[-1] == "raising"

        with Writes(base_of_header(), "safe") as writes:
            safe = place.rig("safe")
            out, err = safe.communicate(timeout=PATIENCE_S)
            assert safe.returncode == 0, out + err
            enable = [w.level for w in writes.take() if w.gpio == place.enable]
        assert enable
        assert not any(enable)
        assert "driver off" in out
    finally:
        place.twin.ask("fallback", str(place.enable), "low")
        if process.poll() is None:
            process.kill()
    assert not place.twin.ask()["is_enabled"]

    resumed = place.rig("run", "--resume", "--out", str(tmp_path))
    out, err = resumed.communicate(timeout=PATIENCE_S)
    assert resumed.returncode == 0, out + err
    assert "was cut off in state raising" in err
    runs = the_runs(tmp_path)
    ends = [None if run.end is None else run.end.outcome for run in runs]
    assert sorted(ends, key=str) == [None, "slid", "slid"]
    assert [run.header.repeat for run in runs if run.end is not None] == [1, 2]
