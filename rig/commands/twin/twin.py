"""`rig twin`: a simulated rig that remembers, in a folder of its own."""

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.help import CommandList, PlainHelp
from rig.commands.options import Json, drawn_seed, print_json, print_table, tell
from rig.commands.quantities import moment, quantity
from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.opening import Home

twin = typer.Typer(
    name="twin",
    cls=CommandList,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="A simulated rig that remembers: one clock for all commands, bags that keep slides,"
    " treatments and throws, boards that differ, weather.\n\nWork in its folder (`rig study new"
    " club`, `rig run --plan club --twin`): whatever lies in it goes by its clock.",
)
Where = Annotated[
    Path,
    typer.Option("--home", metavar="DIR", help="Its folder, or one in it; default: here."),
]


@twin.command(cls=PlainHelp)
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Its folder.")],
    seed: Annotated[
        int | None,
        typer.Option("--seed", min=0, help="Of all its draws; any if left out."),
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="TIME", help="What time it is there; now.")
    ] = None,
    law: Annotated[
        str,
        typer.Option("--law", help="Of friction: coulomb, slip_weakening, stribeck or lugre."),
    ] = "coulomb",
    wear: Annotated[
        str,
        typer.Option(
            "--wear", help="How treatments add up: saturating, or late (the first does little)."
        ),
    ] = "saturating",
) -> None:
    """Make a simulated rig; settings that are in the folder already are left alone."""
    from rig.files.stamps import parse_utc
    from rig.opening import new_home

    seed = drawn_seed() if seed is None else seed
    home = new_home(folder, seed, parse_utc(moment("--at", at)), law, wear)
    tell(
        f"Made a simulated rig in {folder} (seed {seed}; there it is {home.state.now}). Its"
        f" settings are in {home.settings_file}."
    )


@twin.command(cls=PlainHelp)
def status(where: Where = Path(), json: Json = False) -> None:
    """Say what it remembers: clock, air, calibration, bags, invented effects."""
    import msgspec

    from rig.calibration.file import newest_calibration

    home = _home(where)
    state = home.state
    air = home.air()
    calibration = newest_calibration(home.calibrations)
    pasts = {bag: home.past_of(bag) for bag in dict.fromkeys((*state.slides, *home.bags()))}
    if json:
        bags = {
            bag: {"slides": state.slides.get(bag, {}), **past._asdict()}
            for bag, past in pasts.items()
        }
        print_json(
            {
                **msgspec.to_builtins(state),
                "temperature_c": air.temperature_c,
                "relative_humidity_pct": air.relative_humidity_pct,
                "calibration_file": None if calibration is None else str(calibration),
                "bags": bags,
            }
        )
        return
    kept = "kept so" if state.air is not None else "today's weather; a planned climate is kept"
    tell(
        f"The simulated rig in {home.folder} (seed {state.seed}, friction {state.law}, wear"
        f" {state.wear}). There it is {state.now}.\n"
        f"Air: {air.temperature_c:.1f} °C, {air.relative_humidity_pct:.0f} %RH ({kept}).\n"
        f"Calibration: {'as an ideal level leaves it' if calibration is None else calibration}."
    )
    rows: list[tuple[str, ...]] = [("bag", "slides", "treatments", "throws")]
    for bag, past in pasts.items():
        slid = ", ".join(f"{n} {face}" for face, n in sorted(state.slides.get(bag, {}).items()))
        rows.append((bag, slid or "none", ", ".join(past.recipes) or "none", str(past.throws)))
    if len(rows) > 1:
        print()
        print_table(rows)
    for line in home.effects():
        tell(line)


@twin.command(cls=PlainHelp)
def wait(
    time: Annotated[str, typer.Argument(metavar="TIME", help="Such as 30min, 6h or 2d.")],
    where: Where = Path(),
) -> None:
    """Let time pass there."""
    home = _home(where)
    home.wait(home.now + timedelta(hours=quantity("The time", time, "h", 0, 24 * 366)))
    print(f"On the simulated rig it is {home.state.now}.")


@twin.command(cls=PlainHelp)
def air(
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="T", help="In °C.")
    ] = None,
    humidity: Annotated[str | None, typer.Option("--humidity", metavar="H", help="In %RH.")] = None,
    follow: Annotated[
        bool, typer.Option("--follow", help="Again as a study plans it, else the weather.")
    ] = False,
    where: Where = Path(),
) -> None:
    """Keep the room at an air, whatever a study plans; without options say what it is."""
    home = _home(where)
    if follow:
        home.keep(air=None)
    elif temperature is not None and humidity is not None:
        home.keep_air(
            quantity("--temperature", temperature, "°C", -20, 60),
            quantity("--humidity", humidity, "%", 0, 100),
        )
    elif temperature is not None or humidity is not None:
        raise BadInputError("Give both, --temperature T and --humidity H.")
    found = home.air()
    print(f"The air there: {found.temperature_c:.1f} °C, {found.relative_humidity_pct:.0f} %RH.")


@twin.command(cls=PlainHelp)
def truth(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study that lies there.")],
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="T", help="Of the day, in °C.")
    ] = None,
    humidity: Annotated[
        str | None, typer.Option("--humidity", metavar="H", help="Of the day, in %RH.")
    ] = None,
    json: Json = False,
) -> None:
    """Say how right the rig was: runs and answers of a study beside what is true there."""
    from rig.commands.asking import asked
    from rig.commands.twin.truth import NOTE, angles, measured_against_truth, story

    home = _home(study)
    found = asked(study, temperature=temperature, humidity=humidity)
    if json:
        print_json({"angles": angles(found, home)})
        return
    for line in measured_against_truth(study, found.table):
        print(line)
    print()
    tell(NOTE)
    print("\nIn short, with what is true on the twin")
    for line in story(found, home):
        tell(line, "- ")


def _home(where: Path) -> "Home":
    from rig.files.time_here import home_above
    from rig.opening import open_home

    folder = home_above(where)
    if folder is None:
        raise BadInputError(
            f"No simulated rig is at home in {where.absolute()}; make one with `rig twin new DIR`."
        )
    return open_home(folder)
