"""Runs on the full twin, through pins, registers and the machine's own cycle."""

from pathlib import Path
from typing import Any

import msgspec

from rig.clock import Clock, VirtualClock
from rig.control.machine import Machine
from rig.devices.bus import Bus
from rig.procedures.requests import plan_series
from rig.procedures.runs import MadeRun, make_runs
from rig.settings.model import Settings
from rig.twin.rig import TwinRig
from rig.twin.scenario import Scenario


def full_runs(
    folder: Path,
    settings: Settings,
    scenario: Scenario,
    seed: int,
    repeat: int = 1,
    clock: Clock | None = None,
    **asked: Any,
) -> tuple[list[MadeRun], TwinRig]:
    """Make some runs, with other fields of their requests; returns them and the rig."""
    clock = clock or VirtualClock()
    twin = TwinRig(settings, scenario, seed, clock)
    bus = Bus(clock, twin.open_bus, "the twin's bus")
    machine = Machine(clock, settings, lambda: twin.factory, bus, twin.calibration())
    requests = plan_series(settings, repeat, source="twin", started=clock.utc_now())
    requests = [msgspec.structs.replace(one, **asked) for one in requests]
    with machine:
        clock.spawn(twin.person(), "person")
        return clock.run(make_runs(machine, requests, folder, start_now=False)), twin
