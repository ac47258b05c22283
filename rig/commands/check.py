"""`rig check`: the self-test, one line for each part."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Speed,
    Twin,
    print_json,
    settings_of,
    simulated,
    speed_of,
    tell,
)
from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.settings.model import Settings


def check(
    still: Annotated[
        bool, typer.Option("--still", help="Leave out what moves the board and the blade.")
    ] = False,
    now: Annotated[
        bool, typer.Option("--now", help="Nobody is near: move without waiting for start.")
    ] = False,
    timing: Annotated[
        bool, typer.Option("--timing", help="Measure the evenness of step pulses, driver off.")
    ] = False,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.2, max=600, help="For each figure of --timing.")
    ] = 5.0,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    speed: Speed = "fast",
    json: Json = False,
) -> None:
    """Test each part of the rig. Exit code 1 if a part fails.

    Once start is pressed it homes the board, raises it by 2° and lowers it, and pushes the blade
    out by 30 mm and back.
    """
    from rig.clock import At, Task
    from rig.commands.attended import attended
    from rig.commands.options import say
    from rig.commands.run.caution import caution_of
    from rig.opening import OpenRig, open_rig
    from rig.procedures.runs import FIRST_LOOK_S, start_watching
    from rig.procedures.selftest.moves import Finding
    from rig.procedures.selftest.selftest import self_test

    def test(opened: OpenRig) -> Task[list[Finding]]:
        machine = opened.machine
        watchers = start_watching(machine)
        yield At(machine.clock.time_s() + FIRST_LOOK_S)
        findings = yield from self_test(machine, move=not still, ask=None if now else say)
        for watcher in watchers:
            watcher.cancel()
            yield from watcher.join()
        return findings

    seed, home, rig = simulated(twin, seed, rig)
    if timing and settings_of(rig).motion.raised_by == "hand":
        raise BadInputError(
            "--timing measures the motor's pulses, and this board is raised by hand; leave it out."
        )
    if timing:
        _check_timing(settings_of(rig), rig, twin=twin, seed=seed, seconds=seconds, json=json)
        return
    settings = settings_of(rig)
    if not twin and not still:
        say(caution_of(settings))
    opened = open_rig(
        settings, twin=twin, seed=seed, home=home, speed=speed_of(speed), settings_file=rig
    )
    with attended(opened):
        findings = opened.run(test(opened))
    if json:
        print_json({"checks": [finding._asdict() for finding in findings]})
    else:
        for name, is_good, text in findings:
            tell(text, f"{'good' if is_good else 'BAD '}  {name:<26} ")
    if not all(finding.is_good for finding in findings):
        sys.exit(1)


def _check_timing(
    settings: "Settings",
    rig: Path | None,
    *,
    twin: bool,
    seed: int | None,
    seconds: float,
    json: bool,
) -> None:
    """Measure; exit code 1 when the pulses are late beyond what a run allows."""
    import tempfile

    from rig.clock import Task
    from rig.opening import open_rig
    from rig.procedures.requests import plan_series
    from rig.procedures.runs import start_watching
    from rig.procedures.timing import WAY_OWN, Timing, measure_timing

    opened = open_rig(settings, twin=twin, seed=seed, speed="real", settings_file=rig)
    machine = opened.machine
    (request,) = plan_series(
        settings, 1, source=opened.source, started=machine.clock.utc_now(), bag="none"
    )

    def measure(folder: str) -> Task[list[Timing]]:
        watchers = start_watching(machine)
        try:
            return (yield from measure_timing(machine, request, Path(folder), seconds))
        finally:
            for watcher in watchers:
                watcher.cancel()

    with tempfile.TemporaryDirectory() as folder, opened:
        found = opened.run(measure(folder))
    if json:
        print_json({"pins": opened.source, "timing": [timing._asdict() for timing in found]})
    else:
        kind = "simulated pins" if twin else "this rig's own pins"
        tell(
            f"Pulses on GPIO {settings.pins.step} of {kind}, the motor's driver kept off. Interval"
            " error in µs, with the angle sensor sampled and written beside:"
        )
        print(
            f"{'pulses/s':>8}  {'made by':<20} {'median':>9} {'99 %':>9} {'worst':>9} {'rate':>10}"
        )
        for row in found:
            print(
                f"{row.rate_hz:>8}  {row.way:<20} {row.median_us:>9.1f} {row.p99_us:>9.1f}"
                f" {row.worst_us:>9.1f} {row.real_rate_hz:>10.1f}"
            )
    limit_us = settings.interlocks.late_pulse_ms * 1e3
    if any(row.worst_us > limit_us for row in found if row.way == WAY_OWN):
        sys.exit(1)
