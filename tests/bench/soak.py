"""A long night on the twin: `python -m tests.bench.soak [CYCLES [SHORT]]` writes SOAK.md.

300 whole cycles and 5,000 of short travel in one process, by the code behind the service, with
faults at random. Memory, threads and open files are looked at all along, and each fault must come
out as its cause.
"""

import gc
import os
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from shutil import rmtree
from typing import Any

from rig.clock import At, Task
from rig.errors import MachineFaultError, RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import read_run
from rig.settings.model import (
    BagSettings,
    CycleSettings,
    ImuSettings,
    MotionSettings,
    Screw,
    Settings,
)
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from tests.bench.heading import Table
from tests.bench.inputs import CYCLE
from tests.twin_of import twin_of

WHOLE = Settings(cycle=CycleSettings(dwell_s=2.0))
SHORT = Settings(
    cycle=CycleSettings(dwell_s=0.1, climate_interval_s=5.0),
    motion=MotionSettings(rate_deg_s=3.0, homing_rate_deg_s=2.0),
    bag=BagSettings(length_mm=40.0, width_mm=40.0, gap_mm=4.0),
    # Coarser steps and fewer samples, so that thousands of cycles take less time.
    screw=Screw(lead_mm=8.0, microsteps=1),
    imu=ImuSettings(rate_hz=104),
)
FAULT_SHARE = 0.06
TABLE = Table(
    "tests/bench/SOAK.md",
    "soak",
    (
        *CYCLE,
        "rig/control/faults/table.py",
        "rig/procedures/runs.py",
        "rig/runfile/writer.py",
        "tests/bench/soak.py",
    ),
)


def press_stop(rig: OpenRig) -> None:
    """The emergency stop, and later its release."""
    twin_of(rig).world.press("emergency_stop", True)


def unplug(rig: OpenRig) -> None:
    """The angle sensor's plug comes off."""
    address = rig.machine.settings.bus.imu_address
    twin_of(rig).bus.chips.pop(address, None)


def reset_sensor(rig: OpenRig) -> None:
    """A dip of the sensor's supply."""
    twin_of(rig).imu.reset(rig.machine.clock.time_s())


def open_upper(rig: OpenRig) -> None:
    """A loose wire at the upper switch."""
    pin = twin_of(rig).world.pins[rig.machine.settings.pins.limit_upper]
    pin.drive(True, rig.machine.clock.time_s())


def crank(rig: OpenRig) -> Task[None]:
    """Somebody turns the hand crank by two degrees' worth, within a second."""
    motor, clock = twin_of(rig).world.motor, rig.machine.clock
    for _ in range(20):
        motor.position += round((motor.position_at(4.0) - motor.position_at(2.0)) / 20)
        yield At(clock.time_s() + 0.05)


FAULTS = {
    press_stop: {"emergency_stop"},
    unplug: {"bus", "imu_silent"},
    reset_sensor: {"imu_reset", "imu_silent"},
    open_upper: {"limit_upper"},
    crank: {"angle_mismatch", "no_progress", "wrong_direction"},
}


class Night:
    """What is counted."""

    def __init__(self, seed: int) -> None:
        self.draw = random.Random(seed)
        self.outcomes: Counter[str] = Counter()
        self.causes: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.injected = 0
        self.not_met = 0

    def cycle(self, rig: OpenRig, settings: Settings, folder: Path) -> None:
        """One cycle on an open rig, perhaps with a fault."""
        machine = rig.machine
        request = plan_series(settings, 1, source="twin", started=machine.clock.utc_now())
        is_faulty = self.draw.random() < FAULT_SHARE
        act = self.draw.choice(list(FAULTS))
        happened: list[bool] = []

        def fault() -> Task[None]:
            while machine.live.state != "raising":
                yield At(machine.clock.time_s() + 0.05)
            yield At(machine.clock.time_s() + self.draw.uniform(0.1, 0.5))
            happened.append(True)
            yield from act(rig) or ()

        task = make_runs(machine, request, folder, start_now=True)
        cause = ""
        try:
            rig.run(task, beside=[fault()] if is_faulty else [])
        except MachineFaultError as error:
            cause = error.cause
        except RigError as error:
            cause = type(error).__name__
        self._judge(rig, cause, FAULTS[act] if happened else set(), folder)

    def _judge(self, rig: OpenRig, cause: str, wanted: set[str], folder: Path) -> None:
        if twin_of(rig).world.motor.is_enabled:
            self.wrong.append("the driver was left on")
        self.injected += bool(wanted)
        if cause:
            self.causes[cause] += 1
            if cause not in wanted:
                self.wrong.append(f"{cause} instead of one of {sorted(wanted)}")
        elif wanted:
            # The run was over before it could be seen.
            self.not_met += 1
        for path in folder.rglob("*.run.jsonl"):
            run = read_run(path)
            self.outcomes[run.end.outcome if run.end is not None else "no end"] += 1
        rmtree(folder)


def mend(rig: OpenRig) -> None:
    """A person puts things right and resets the fault."""
    twin, machine = twin_of(rig), rig.machine
    twin.bus.chips[machine.settings.bus.imu_address] = twin.imu
    twin.world.press("emergency_stop", False)
    twin.world.pins[machine.settings.pins.limit_upper].drive(False, machine.clock.time_s())
    machine.reset()


def place(rig: OpenRig) -> None:
    """The bag lies at its place again."""
    twin_of(rig).world.place_bag()
    del twin_of(rig).world.truths[:]


def memory_mb() -> float:
    """Resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def look() -> dict[str, float]:
    """Memory, threads, open files."""
    gc.collect()
    files = len(list(Path("/proc/self/fd").iterdir()))
    return {"memory_mb": memory_mb(), "threads": threading.active_count(), "files": files}


def soak(settings: Settings, mu: float, n: int, seed: int) -> dict[str, Any]:
    """So many cycles on one open rig."""
    scenario = changed(
        draw_scenario(3, face=plain_face(mu, 0.8 * mu)), board={"start_angle_deg": 0.5}
    )
    rig = open_twin(settings, scenario, seed)
    night = Night(seed)
    looks = []
    began_s, began_virtual_s = time.monotonic(), rig.machine.clock.time_s()
    with tempfile.TemporaryDirectory() as folder, rig:
        for i in range(n):
            if rig.machine.latched is not None:
                mend(rig)
            place(rig)
            night.cycle(rig, settings, Path(folder) / "runs")
            if (i + 1) % max(1, n // 20) == 0:
                looks.append(look())
                print(i + 1, looks[-1], dict(night.causes), file=sys.stderr, flush=True)
    warm = looks[len(looks) // 5 :]
    return {
        "cycles": n,
        "hours": (rig.machine.clock.time_s() - began_virtual_s) / 3600,
        "minutes": (time.monotonic() - began_s) / 60,
        "night": night,
        "memory": (min(x["memory_mb"] for x in warm), max(x["memory_mb"] for x in warm)),
        "threads": sorted({x["threads"] for x in looks}),
        "files": sorted({x["files"] for x in looks}),
    }


def main() -> None:
    """Soak and write the table; ends with 1 if something is not as it should be."""
    n_whole = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    n_short = int(sys.argv[2]) if len(sys.argv) > 2 else 5000
    TABLE.show(lines_of(n_whole, n_short), seed="1, 2", write=n_short >= 5000)


def lines_of(n_whole: int, n_short: int) -> Iterator[str]:
    """Soak; the lines of the table in Markdown.

    Raises:
        SystemExit: something is not as it should be, so that the table is not kept.
    """
    found = {
        "whole cycles": soak(WHOLE, 0.3, n_whole, 1),
        "short travel": soak(SHORT, 0.03, n_short, 2),
    }
    yield f"A fault in about {FAULT_SHARE:.0%} of the cycles."
    yield ""
    yield "| | " + " | ".join(found) + " |"
    yield "| --- |" + " ---: |" * len(found)
    rows: dict[str, Callable[[dict[str, Any]], str]] = {
        "cycles": lambda r: str(r["cycles"]),
        "simulated hours": lambda r: f"{r['hours']:.1f}",
        "minutes that it took": lambda r: f"{r['minutes']:.1f}",
        "faults that happened": lambda r: str(r["night"].injected),
        "of these, over before they could be seen": lambda r: str(r["night"].not_met),
        "causes told": lambda r: ", ".join(f"{k} {v}" for k, v in r["night"].causes.most_common()),
        "causes other than what happened": lambda r: str(len(r["night"].wrong)),
        "outcomes in the files": lambda r: ", ".join(
            f"{k} {v}" for k, v in r["night"].outcomes.most_common()
        ),
        "memory, MB, after a fifth": lambda r: f"{r['memory'][0]:.1f} … {r['memory'][1]:.1f}",
        "threads": lambda r: ", ".join(map(str, r["threads"])),
        "open files": lambda r: ", ".join(map(str, r["files"])),
    }
    for name, text in rows.items():
        yield f"| {name} | {' | '.join(text(row) for row in found.values())} |"
    bad = [f"{name}: {what}" for name, row in found.items() for what in problems(row)]
    if bad:
        print(*bad, sep="\n", file=sys.stderr)
        raise SystemExit(1)


def problems(row: dict[str, Any]) -> list[str]:
    """What is not as it should be."""
    low, high = row["memory"]
    night: Night = row["night"]
    checks = {
        "memory not flat within 5 %": high <= 1.05 * low,
        "threads not constant": len(row["threads"]) == 1,
        "open files not constant": len(row["files"]) == 1,
        "a fault not accounted for": night.injected == night.causes.total() + night.not_met,
        **dict.fromkeys(night.wrong, False),
    }
    return [check for check, holds in checks.items() if not holds]


if __name__ == "__main__":
    main()
