"""`rig check`: the self-test, one line for each part."""

import sys
from typing import Annotated

import typer

from rig.commands.options import Json, RigFile, Seed, Speed, Twin, print_json, settings_of, speed_of


def check(
    still: Annotated[
        bool, typer.Option("--still", help="Leave out the small movement of the board.")
    ] = False,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = 1,
    speed: Speed = "fast",
    json: Json = False,
) -> None:
    """Test each part of the rig; moves the board by 2° and back. Exit code 1 if a part fails."""
    from rig.clock import At, Task
    from rig.commands.options import say
    from rig.commands.run import CAUTION
    from rig.opening import OpenRig, open_rig
    from rig.procedures.runs import FIRST_LOOK_S, start_watching
    from rig.procedures.selftest import Finding, self_test

    def test(opened: OpenRig) -> Task[list[Finding]]:
        machine = opened.machine
        watchers = start_watching(machine)
        yield At(machine.clock.time_s() + FIRST_LOOK_S)
        findings = yield from self_test(machine, move=not still)
        for watcher in watchers:
            watcher.cancel()
            yield from watcher.join()
        return findings

    if not twin and not still:
        say(CAUTION)
    settings = settings_of(rig)
    opened = open_rig(settings, twin=twin, seed=seed, speed=speed_of(speed), settings_file=rig)
    with opened:
        findings = opened.run(test(opened))
    if json:
        print_json({"checks": [finding._asdict() for finding in findings]})
    else:
        for name, is_good, text in findings:
            print(f"{'good' if is_good else 'BAD '}  {name:<26} {text}")
    if not all(finding.is_good for finding in findings):
        sys.exit(1)
