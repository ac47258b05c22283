"""`rig level`: calibrate against a level, show the calibration, chart the home readings."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rig.commands.help import CommandList, PlainHelp
from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Simulated,
    Speed,
    Twin,
    Units,
    columns,
    print_json,
    say,
    settings_of,
    simulated,
    speed_of,
    system_of,
    tell,
)
from rig.commands.quantities import quantity_option
from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.calibration.model import Calibration
    from rig.calibration.plan import LevelPlan
    from rig.opening import OpenRig
    from rig.procedures.level.person import LevelPerson
    from rig.quantities.shown import System

READINGS = """\b
A file of readings, in the board's frame:
uphill is positive.
  reference = "digital"     # or "sine-bar"
  stated_error_deg = 0.2
  [zero]          # as laid down, then turned
  along = [-0.25, -0.15]
  across = [0.10, 0.20]
  [[span]]        # six or more, 10 to 35°,
  angle_deg = 12  # up and down
  direction = "up"
  shown = 11.8
With --six: [[positions]] with up = "+x" (to
"-z"), counts = [x, y, z] and temperature_c;
with --second-temperature: [warm] with counts
and temperature_c."""

level = typer.Typer(
    name="level",
    cls=CommandList,
    invoke_without_command=True,
    rich_markup_mode=None,
    help="Calibrate the angle sensor against a level; show it; chart the home readings.",
    epilog=READINGS,
)
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder of calibrations; default: beside rig.toml."),
]
Unit = Annotated[
    str,
    typer.Option("--unit", help="Unit of the level: deg, mm/m, %, in/ft, arcmin, arcsec or mrad."),
]

Answers = Annotated[
    str | None,
    typer.Option(
        "--answers",
        metavar="FILE",
        help="With --twin: what a person types at the prompts, a line each; `shown` takes what the"
        " simulated level shows, as without a terminal.",
    ),
]
SHOWN = "shown"


def folder_of(out: Path | None, twin: bool, meant: Simulated) -> Path:
    """Where calibrations lie, and where runs look for them."""
    from rig.opening import calibration_folder, twin_calibrations

    if out is not None:
        return out
    return twin_calibrations(*meant) if twin else calibration_folder(meant.rig)


@level.callback()
def calibrate(
    context: typer.Context,
    readings: Annotated[
        Path | None,
        typer.Option("--readings", metavar="FILE", help="Take the readings from a TOML file."),
    ] = None,
    digital: Annotated[
        float | None,
        quantity_option("--digital", "°", 0.001, 2, "Digital level; its stated error in °."),
    ] = None,
    bar: Annotated[
        float | None, quantity_option("--bar", "mm", 10, 2000, "Length of the sine bar in mm.")
    ] = None,
    unit: Unit = "deg",
    across: Annotated[
        bool, typer.Option("--across", help="Also read a level across at every span point.")
    ] = False,
    six: Annotated[
        bool, typer.Option("--six", help="Begin with the sensor off its board in six positions.")
    ] = False,
    second_temperature: Annotated[
        bool, typer.Option("--second-temperature", help="End with home at another temperature.")
    ] = False,
    redo: Annotated[
        str | None,
        typer.Option(
            "--redo", metavar="STEP", help="Do one step again: zero, `up 20`, `six +x`, warm."
        ),
    ] = None,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Forget what was captured before.")
    ] = False,
    answers: Answers = None,
    out: Out = None,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    speed: Speed = "fast",
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Lead through a calibration; one begun earlier is resumed."""
    if context.invoked_subcommand is not None:
        return
    import msgspec

    from rig.calibration.plan import LevelPlan, load_plan
    from rig.calibration.reference import to_deg
    from rig.calibration.show import calibration_text
    from rig.commands.attended import attended
    from rig.commands.run.caution import caution_of
    from rig.opening import open_rig
    from rig.procedures.level.by_hand import HandLevelProcedure
    from rig.procedures.level.level import LevelProcedure

    to_deg(0.0, unit)
    plan = LevelPlan() if readings is None else load_plan(readings)
    if digital is not None:
        plan = msgspec.structs.replace(plan, reference="digital", stated_error_deg=digital)
    if bar is not None:
        plan = msgspec.structs.replace(plan, bar_length_mm=bar)
    if six or second_temperature:
        plan = msgspec.structs.replace(
            plan,
            six=plan.six or six,
            second_temperature=plan.second_temperature or second_temperature,
        )
    meant = simulated(twin, seed, rig)
    settings = settings_of(meant.rig)
    opened = open_rig(
        settings,
        twin=twin,
        seed=meant.seed,
        home=meant.home,
        speed=speed_of(speed),
        settings_file=meant.rig,
        calibrates=True,
    )
    person = _person(opened, plan, readings, meant.seed, unit, across, answers, system_of(units))
    if not twin:
        say(caution_of(opened.machine.settings))
    with attended(opened):
        made_by = LevelProcedure if opened.machine.has_motor else HandLevelProcedure
        procedure = made_by(
            opened.machine, person, plan, folder_of(out, twin, meant), fresh=fresh, redo=redo
        )
        path, made = opened.run(procedure.run(), beside=[_tell(opened)])
    say(f"Saved {path}.")
    if settings.files.calibration:
        say(
            _put_in_force(
                made, folder_of(None, False, meant).parent / settings.files.calibration, twin
            )
        )
    if json:
        print_json({"calibration_file": str(path), **msgspec.to_builtins(made)})
    else:
        print(calibration_text(made, system_of(units), columns()))


def _put_in_force(made: "Calibration", named: Path, twin: bool) -> str:
    """What becomes of the file that the settings name, in words; one that is good stays.

    A calibration of the twin never gets to where a rig would take it.
    """
    from rig.calibration.file import load_calibration, save_calibration

    try:
        load_calibration(named)
    except BadInputError:
        pass
    else:
        return f"The settings name {named}, which stays in force; change their line to use this."
    if twin:
        return (
            f"The settings name {named}, which can't be used; the twin's calibration is not put"
            " there."
        )
    kept = ""
    if named.exists():
        damaged = named.with_name(f"{named.name}.damaged-{made.made_at.replace(':', '')}")
        named.replace(damaged)
        kept = f"; what was there is kept as {damaged.name}"
    save_calibration(named, made)
    return f"It is in force as {named} too, which the settings name{kept}."


def _person(
    opened: "OpenRig",
    plan: "LevelPlan",
    readings: Path | None,
    seed: int | None,
    unit: str,
    across: bool,
    answers: str | None,
    units: "System" = "metric",
) -> "LevelPerson":
    from rig.procedures.level.person import FilePerson

    if readings is not None:
        return FilePerson(plan)
    from rig.commands.level.prompts import PromptingPerson, RehearsingPerson, lines_of

    shown = opened.level_person(seed)
    if shown is None:
        if answers is not None:
            raise BadInputError("--answers goes with --twin; on a rig use --readings FILE.")
        return PromptingPerson(unit, ask_across=across, units=units)
    if answers == SHOWN or (answers is None and not sys.stdin.isatty()):
        return shown
    ask = None if answers is None else lines_of(Path(answers))
    return RehearsingPerson(shown, unit, across, ask, units)


def _tell(opened: "OpenRig") -> Any:
    """Task: say what the machine waits for, whenever that changes."""
    from rig.clock import At
    from rig.quantities.figures import fixed

    machine, shown = opened.machine, ""
    while True:
        wants = machine.live.wants
        if wants and wants != shown:
            at = f"{fixed(machine.step_angle_deg(), 2):>6}° by steps  " if machine.has_motor else ""
            say(f"{at}{wants}")
        shown = wants
        yield At(machine.clock.time_s() + 0.2)


@level.command("show", cls=PlainHelp)
def show(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="A calibration; default: in force.")
    ] = None,
    out: Out = None,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Print a calibration with residuals and uncertainty over 0–45°; `rig figures` draws it."""
    from rig.calibration.file import load_calibration, newest_calibration
    from rig.calibration.show import calibration_document, calibration_text

    if file is None:
        meant = simulated(twin, seed, rig)
        named = settings_of(meant.rig).files.calibration
        folder = folder_of(out, twin, meant)
        file = newest_calibration(folder)
        if named and out is None and not twin:
            file = folder.parent / named
        if file is None:
            command = "rig level --twin" if twin else "rig level"
            raise BadInputError(
                f"There is no calibration in {folder}; make one with `{command}`, or name a file."
            )
    found = load_calibration(file)
    if json:
        print_json({"calibration_file": str(file), **calibration_document(found)})
    else:
        print(f"{file}\n")
        print(calibration_text(found, system_of(units), columns()))


@level.command("history", cls=PlainHelp)
def history(
    paths: Annotated[
        list[Path] | None, typer.Argument(metavar="PATH...", help="Run files or folders.")
    ] = None,
    rig: RigFile = None,
    json: Json = False,
) -> None:
    """Chart the home readings since the calibration, and say what has moved."""
    from rig.analysis.home import home_records
    from rig.calibration.history import home_trend
    from rig.calibration.show import history_text
    from rig.study.slides.analysed import home_readings

    made_at, records = home_records(home_readings(paths or [Path(settings_of(rig).files.runs)]))
    if not records:
        raise BadInputError("No run there has a home reading; name other run files or folders.")
    trend = home_trend(records)
    if json:
        rows = [record._asdict() for record in records]
        print_json({"calibration_made_at": made_at, "home": rows, "trend": trend._asdict()})
    else:
        print(history_text(made_at or "", records, trend, columns()))


@level.command("check", cls=PlainHelp)
def check(
    resolution: Annotated[
        float, quantity_option("--resolution", "°", 0.001, 1, "What the level is read to, in °.")
    ] = 0.05,
    unit: Unit = "deg",
    answers: Answers = None,
    out: Out = None,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    speed: Speed = "fast",
    json: Json = False,
) -> None:
    """Lay a level on the board at home: has the floor moved, or the sensor?"""
    import msgspec

    from rig.calibration.plan import LevelPlan
    from rig.commands.attended import attended
    from rig.commands.run.caution import caution_of
    from rig.opening import open_rig
    from rig.procedures.level.check import level_check

    meant = simulated(twin, seed, rig)
    opened = open_rig(
        settings_of(meant.rig),
        twin=twin,
        seed=meant.seed,
        home=meant.home,
        speed=speed_of(speed),
        settings_file=meant.rig,
    )
    person = _person(opened, LevelPlan(), None, meant.seed, unit, False, answers)
    if not twin:
        say(caution_of(opened.machine.settings))
    with attended(opened):
        found = opened.run(
            level_check(opened.machine, person, folder_of(out, twin, meant), resolution)
        )
    if json:
        print_json(msgspec.to_builtins(found))
    else:
        tell(
            f"The level says {found.level_along_deg:+.2f}° along and {found.level_across_deg:+.2f}°"
            " across, and so does the sensor: the calibration holds. If the home reading moved, the"
            " floor or the feet did; runs go on and are flagged `floor_tilt`."
        )
