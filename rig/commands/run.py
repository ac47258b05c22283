"""`rig run`: make runs, each into its own file, and print what they say."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Speed,
    Twin,
    print_json,
    say,
    settings_of,
    speed_of,
)

CAUTION = (
    "Caution: the board will move. Keep hands, hair and sleeves out of the wedge under it; set the"
    " prop before you reach under. The emergency stop is the one that cuts the motor's power, not"
    " this program."
)
INTERRUPTED = 130


def run(
    bag: Annotated[str | None, typer.Option("--bag", help="Which bag lies on the board.")] = None,
    face: Annotated[str | None, typer.Option("--face", help="Its face on the board.")] = None,
    board: Annotated[str | None, typer.Option("--board", help="The board on the rig.")] = None,
    repeat: Annotated[int, typer.Option("--repeat", min=1, max=1000, help="Runs to make.")] = 1,
    rate: Annotated[
        float | None, typer.Option("--rate", min=0.1, max=3.0, help="Raise rate in °/s.")
    ] = None,
    dwell: Annotated[
        float | None, typer.Option("--dwell", min=0, max=3600, help="Rest before the raise in s.")
    ] = None,
    gap: Annotated[
        float | None,
        typer.Option("--gap", min=1, max=50, help="Leading edge to beam, as placed, in mm."),
    ] = None,
    session: Annotated[str | None, typer.Option("--session", help="Name of this sitting.")] = None,
    operator: Annotated[str | None, typer.Option("--operator", help="Who does it.")] = None,
    now: Annotated[
        bool, typer.Option("--now", help="The bag lies ready: the first run waits for no button.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the run files.")
    ] = None,
    overdue_ok: Annotated[
        bool,
        typer.Option("--overdue-ok", help="Take a calibration that is past due; flags the runs."),
    ] = False,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = 1,
    speed: Speed = "fast",
    json: Json = False,
) -> None:
    """Wait for the start button (or --now), make the runs, print a row for each."""
    from rig.opening import open_rig
    from rig.procedures.requests import plan_series

    settings = settings_of(rig)
    opened = open_rig(
        settings,
        twin=twin,
        seed=seed,
        speed=speed_of(speed),
        bag=bag,
        face=face,
        settings_file=rig,
    )
    opened.machine.allow_overdue = overdue_ok
    asked = {"bag": bag, "face": face, "board": board, "session": session, "operator": operator}
    requests = plan_series(
        settings,
        repeat,
        source=opened.source,
        started=opened.machine.clock.utc_now(),
        rate_deg_s=rate,
        dwell_s=dwell,
        gap_mm=gap,
        **asked,
    )
    if not twin:
        say(CAUTION)
    from rig.commands.series import Series

    series = Series(opened, out or Path(settings.files.runs), quiet=json)
    failure = series.make(requests, start_now=now)
    if json:
        from rig.analysis.load import analyse

        print_json(analyse(series.paths).document())
    if failure is not None:
        if series.signal is not None:
            say(f"rig: {failure}")
            sys.exit(INTERRUPTED)
        raise failure
    if not series.all_slid:
        sys.exit(1)
