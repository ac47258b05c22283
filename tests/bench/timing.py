"""Evenness of step pulses on this machine: `python -m tests.bench.timing [SECONDS]`.

Writes the table of TIMING.md.

The same measurement as `rig check --timing --twin`: pins and chips are simulated, the clock is not.
Simulating the angle sensor costs more of the computer than reading a real one.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.bench.heading import Table, columns

TABLE = Table(
    "tests/bench/TIMING.md",
    "timing",
    ("rig/devices/stepper.py", "rig/procedures/timing.py"),
)


def main() -> int:
    """Measure, write the table; 1 if the pulse train is not ahead of both other ways."""
    rows: list[dict[str, Any]] = []
    seconds = sys.argv[1] if len(sys.argv) > 1 else "20"
    TABLE.show(lines_of(seconds, rows), seed="none", write=True)
    behind = 0
    for rate in sorted({row["rate_hz"] for row in rows}):
        own, *others = [row for row in rows if row["rate_hz"] == rate]
        for key in ("median_us", "p99_us", "worst_us"):
            if own[key] >= min(other[key] for other in others):
                print(f"behind at {rate}/s in {key}")
                behind = 1
    return behind


def lines_of(seconds: str, rows: list[dict[str, Any]]) -> Iterator[str]:
    """Measure for so long each, into `rows`; the lines of the table in Markdown."""
    command = [str(Path(sys.executable).with_name("rig")), "check", "--timing", "--twin", "--json"]
    done = subprocess.run([*command, "--seconds", seconds], capture_output=True, text=True)
    rows += json.loads(done.stdout)["timing"]
    permitted = "permitted" if os.geteuid() == 0 else "as the system permits it"
    yield f"{seconds} s each; real-time priority {permitted}."
    yield ""
    yield from columns(
        *("pulses/s", "made by", "median, µs", "99 %, µs", "worst, µs", "pulses/s in fact")
    )
    for row in rows:
        yield (
            f"| {row['rate_hz']} | {row['way']} | {row['median_us']:.1f} | {row['p99_us']:.0f}"
            f" | {row['worst_us']:.0f} | {row['real_rate_hz']:.1f} |"
        )


if __name__ == "__main__":
    sys.exit(main())
