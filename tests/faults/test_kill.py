"""Eight kills of real-time series; 300 by `python -m tests.faults.kill_series 300` (KILLS.md)."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_series_that_are_killed_lose_nothing_and_go_on() -> None:
    command = [sys.executable, "-m", "tests.faults.kill_series", "8"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    assert "4 series were made whole" in done.stdout
