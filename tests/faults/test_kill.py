"""Eight kills of real-time series; 300 by `python -m tests.faults.kill_series 300` (KILLS.md)."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.long
def test_series_that_are_killed_lose_nothing_and_go_on() -> None:
    command = [sys.executable, "-m", "tests.faults.kill_series", "8", "2"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    n_whole = re.search(r"(\d+) series were made whole", done.stdout)
    assert n_whole is not None
    assert int(n_whole[1]) >= 4
