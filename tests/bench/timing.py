"""Evenness of step pulses on this machine: `python -m tests.bench.timing [SECONDS]` → TIMING.md.

The same measurement as `rig check --timing --twin`: pins and chips are simulated, the clock is not.
Simulating the angle sensor costs more of the computer than reading a real one.
"""

import json
import os
import platform
import subprocess
import sys
from pathlib import Path

TABLE = Path(__file__).parent / "TIMING.md"


def main() -> int:
    """Measure, write the table; 1 if the pulse train is not ahead of both other ways."""
    seconds = sys.argv[1] if len(sys.argv) > 1 else "20"
    load = os.getloadavg()[0]
    command = [str(Path(sys.executable).with_name("rig")), "check", "--timing", "--twin", "--json"]
    done = subprocess.run([*command, "--seconds", seconds], capture_output=True, text=True)
    rows = json.loads(done.stdout)["timing"]
    lines = [
        "# Evenness of step pulses",
        "",
        f"Written by `python -m tests.bench.timing {seconds}`: error of the interval between two"
        f" pulses, over {seconds} s each, all in one run, while the angle sensor is sampled and its"
        " samples are written to a file. Pins and sensor are simulated, the clock is real:"
        f" {os.cpu_count()} cores of {platform.machine()}, Python {platform.python_version()}, with"
        f" a load average of {load:.1f} from other programs, real-time priority"
        f" {'permitted' if os.geteuid() == 0 else 'as the system permits it'}. `rig check --timing`"
        " gives the same figures on a Pi; none were taken there yet.",
        "",
        "| pulses/s | made by | median, µs | 99 %, µs | worst, µs | pulses/s in fact |",
        "| ---: | --- | ---: | ---: | ---: | ---: |",
    ]
    lines += [
        f"| {row['rate_hz']} | {row['way']} | {row['median_us']:.1f} | {row['p99_us']:.0f}"
        f" | {row['worst_us']:.0f} | {row['real_rate_hz']:.1f} |"
        for row in rows
    ]
    print("\n".join(lines))
    TABLE.write_text("\n".join(lines) + "\n", "utf-8")
    behind = 0
    for rate in sorted({row["rate_hz"] for row in rows}):
        own, *others = [row for row in rows if row["rate_hz"] == rate]
        for key in ("median_us", "p99_us", "worst_us"):
            if own[key] >= min(other[key] for other in others):
                print(f"behind at {rate}/s in {key}")
                behind = 1
    return behind


if __name__ == "__main__":
    sys.exit(main())
