"""`rig watch`: what the rig sees, live, without moving anything."""

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Speed,
    Twin,
    Units,
    print_json,
    settings_of,
    simulated,
    speed_of,
    system_of,
)

if TYPE_CHECKING:
    from rig.control.machine import Machine
    from rig.quantities.shown import System

PERIOD_S = 0.5
LIVE_PERIOD_S = 0.2


def watch(
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.5, help="Stop after this time; 0.5 or more.")
    ] = 3600.0,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    speed: Speed = "real",
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Show angle, climate and inputs live; nothing moves. Ctrl-C ends it."""
    from rig.clock import At, Task
    from rig.commands.attended import attended
    from rig.commands.run.live_view import LiveView
    from rig.opening import open_rig
    from rig.panel.view import Viewer
    from rig.procedures.runs import raise_failures, start_watching

    system = system_of(units)
    seed, home, rig = simulated(twin, seed, rig)
    opened = open_rig(
        settings_of(rig),
        twin=twin,
        seed=seed,
        home=home,
        speed=speed_of(speed),
        settings_file=rig,
    )
    machine = opened.machine

    def look() -> Task[None]:
        start_watching(machine)
        end_s = machine.clock.time_s() + seconds
        viewer = Viewer(machine)
        live = LiveView(sys.stdout, system) if sys.stdout.isatty() and not json else None
        try:
            while (now := machine.clock.time_s()) < end_s:
                yield At(min(end_s, now + (PERIOD_S if live is None else LIVE_PERIOD_S)))
                raise_failures(machine)
                if live is not None:
                    live.show(viewer.look())
                elif not json:
                    print(describe(machine, system), flush=True)
        finally:
            if live is not None:
                live.stop()

    with attended(opened):
        opened.run(look())
        if json:
            print_json(snapshot(machine))


def snapshot(machine: "Machine") -> dict[str, Any]:
    """The latest values as plain data."""
    live = machine.live
    return {
        "angle_deg": live.angle_deg,
        "cross_slope_deg": live.cross_slope_deg,
        "temperature_c": live.temperature_c,
        "relative_humidity_pct": live.relative_humidity_pct,
        "pressure_hpa": live.pressure_hpa,
        "imu_temperature_c": live.imu_temperature_c,
        "inputs": machine.inputs.levels(),
    }


def describe(machine: "Machine", units: "System" = "metric") -> str:
    """The latest values on one line."""
    from rig.panel.words import degrees, humidity, pressure, temperature

    live = machine.live
    on = [name.replace("_", " ") for name, active in machine.inputs.levels().items() if active]
    values = (
        f"angle {degrees(live.angle_deg)}",
        f"across {degrees(live.cross_slope_deg)}",
        f"air {temperature(live.temperature_c, units)}",
        humidity(live.relative_humidity_pct),
        pressure(live.pressure_hpa, units),
    )
    return "  ".join((*values, "active: " + (", ".join(on) or "none")))
