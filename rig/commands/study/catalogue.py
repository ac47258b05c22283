"""The `rig study` commands that make the folder, its catalogue and its plan."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from rig.commands.options import Json, print_json, print_table, say, tell
from rig.commands.quantities import (
    name_argument,
    name_option,
    quantity,
    quantity_option,
    with_tolerance,
)
from rig.commands.study.options import Folder
from rig.errors import BadInputError
from rig.files.names import safe_name
from rig.settings.method import RATE_DEG_S
from rig.study.folder.ranges import MASS_G


def new(
    folder: Folder,
    name: Annotated[
        str | None, name_option("--name", "study", "Its name; the folder's if left out.")
    ] = None,
    runs: Annotated[int, typer.Option("--runs", min=1, max=100, help="Runs of a series.")] = 5,
    stages: Annotated[
        int, typer.Option("--stages", min=0, max=50, help="Treatments of each treated bag.")
    ] = 1,
    sessions: Annotated[
        int, typer.Option("--sessions", min=1, max=20, help="Sessions in each climate and stage.")
    ] = 1,
    reference_runs: Annotated[
        int,
        typer.Option(
            "--reference-runs", min=0, max=50, help="Of the reference bag at each check; 0: none."
        ),
    ] = 3,
    rate: Annotated[
        float, quantity_option("--rate", "°/s", *RATE_DEG_S, "Raise rate in °/s.")
    ] = 0.3,
    start: Annotated[
        Literal["whole", "quick"],
        typer.Option("--start", help="Whole raises at that rate, or fast to 3° below the slide."),
    ] = "quick",
    check_runs: Annotated[
        int,
        typer.Option("--check-runs", min=0, max=50, help="At another rate, once a stage; 0: none."),
    ] = 3,
    target: Annotated[
        str | None,
        typer.Option(
            "--target", metavar="DEG", help="Slide angle wanted on every face, in °; see `target`."
        ),
    ] = None,
    wish: Annotated[str | None, typer.Option("--wish", hidden=True)] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Of the plan's order.")] = 1,
    older: Annotated[
        list[Path] | None,
        typer.Option("--from", metavar="STUDY", help="Take its experience; may be repeated."),
    ] = None,
    json: Json = False,
) -> None:
    """Make a study folder; nothing that is there already is touched."""
    from rig.study.folder.catalogue import Preferences
    from rig.study.folder.study import new_study

    wanted = wish if target is None else target  # `--wish` is the older word
    preferences = Preferences(
        raise_start=start,
        runs_per_series=runs,
        reference_runs=reference_runs,
        rate_deg_s=rate,
        check_runs=check_runs,
        stages_after_baseline=stages,
        sessions_per_climate=sessions,
        wish_angle_deg=None if wanted is None else quantity("--target", wanted, "°", 1, 59),
        seed=seed,
    )
    made = new_study(folder, name or folder.resolve().name, preferences, older or ())
    if json:
        print_json({"study": str(made.path), "name": made.catalogue.name})
    else:
        tell(f"Made {made.path}; its preferences are in {made.catalogue_path}.")


def board(
    folder: Folder,
    name: Annotated[str, name_argument("board", "BOARD", "Its name.")],
    material: Annotated[str, typer.Option("--material", help="Such as birch plywood.")] = "",
    finish: Annotated[str, typer.Option("--finish", help="Such as matt varnish.")] = "",
    history: Annotated[str, typer.Option("--history", help="Age and use.")] = "",
    played: Annotated[
        str | None, typer.Option("--played", metavar="DEG", help="Angle as played, in °.")
    ] = None,
) -> None:
    """Add a board to the catalogue."""
    from rig.study.folder.catalogue import Board

    entry = Board(
        material=material,
        finish=finish,
        history=history,
        played_angle_deg=None if played is None else quantity("--played", played, "°", 0.1, 45),
    )
    _add(folder, "boards", name, entry)


def climate(
    folder: Folder,
    name: Annotated[str, name_argument("climate", "CLIMATE", "Its name.")],
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="T[:TOL]", help="In °C, such as 23:2.")
    ] = None,
    humidity: Annotated[
        str | None, typer.Option("--humidity", metavar="H[:TOL]", help="In %RH, such as 50:4.")
    ] = None,
) -> None:
    """Add a climate to measure in; without figures it is today's air, whatever that is."""
    from rig.study.folder.catalogue import ClimateWanted

    t, t_tolerance = None, 2.0
    if temperature is not None:
        t, t_tolerance = with_tolerance("--temperature", temperature, "°C", -20, 60, 2.0)
    h, h_tolerance = None, 4.0
    if humidity is not None:
        h, h_tolerance = with_tolerance("--humidity", humidity, "%", 0, 100, 4.0)
    entry = ClimateWanted(
        temperature_c=t,
        temperature_tolerance_c=t_tolerance,
        relative_humidity_pct=h,
        humidity_tolerance_pct=h_tolerance,
    )
    _add(folder, "climates", name, entry)


def bag(
    folder: Folder,
    names: Annotated[
        list[str], name_argument("bag", "BAG...", "Its name; several bags that are alike.")
    ],
    role: Annotated[
        str,
        typer.Option(
            "--role",
            help="`treated`; `control` (never treated, equal wear); `reference`"
            " (watches the board).",
        ),
    ] = "treated",
    treatment: Annotated[
        str | None,
        name_option("--treatment", "recipe", "What it is to get.", metavar="RECIPE"),
    ] = None,
    set_: Annotated[str | None, name_option("--set", "set", "The bags thrown together.")] = None,
    model: Annotated[str | None, name_option("--model", "model", "Kind of bag.")] = None,
    faces: Annotated[
        list[str] | None,
        typer.Option(
            "--face",
            metavar="FACE[=FABRIC]",
            help="A face and its fabric; give it twice. Default: slick and grip.",
        ),
    ] = None,
    leading_edge: Annotated[
        str | None, typer.Option("--leading-edge", help="How the edge that goes first is marked.")
    ] = None,
    fill: Annotated[str | None, typer.Option("--fill", help="Such as plastic pellets.")] = None,
    mass: Annotated[str | None, typer.Option("--mass", metavar="G", help="In g.")] = None,
    length: Annotated[
        str | None, typer.Option("--length", metavar="MM", help="Along the slide, in mm.")
    ] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", metavar="MM", help="Flattened, in mm.")
    ] = None,
    fabric_thickness: Annotated[
        str | None, typer.Option("--fabric-thickness", metavar="MM", help="Of the thinner fabric.")
    ] = None,
    history: Annotated[str, typer.Option("--history", help="Age, use, earlier treatments.")] = "",
    slides_before: Annotated[
        int, typer.Option("--slides-before", min=0, help="Slides on a rig before this study.")
    ] = 0,
) -> None:
    """Add a bag to the catalogue, or several that are alike."""
    from rig.study.folder.catalogue import Bag

    if role not in ("treated", "control", "reference"):
        raise BadInputError(f"--role takes treated, control or reference, not {role!r}.")
    entry = Bag(
        role=role,  # type: ignore[arg-type] # checked above
        treatment=treatment,
        set=set_,
        model=model,
        faces=_faces(faces or ["slick", "grip"]),
        leading_edge=leading_edge,
        fill=fill,
        mass_g=None if mass is None else quantity("--mass", mass, *MASS_G),
        length_mm=None if length is None else quantity("--length", length, "mm", 10, 500),
        thickness_mm=(
            None if thickness is None else quantity("--thickness", thickness, "mm", 0.1, 200)
        ),
        fabric_thickness_mm=(
            None
            if fabric_thickness is None
            else quantity("--fabric-thickness", fabric_thickness, "mm", 0.01, 20)
        ),
        history=history,
        slides_before=slides_before,
    )
    for name in names:
        _add(folder, "bags", name, entry)


def target(
    folder: Folder,
    face: Annotated[str, typer.Argument(metavar="FACE", help="Such as slick.")],
    angle: Annotated[str, typer.Argument(metavar="ANGLE", help="The slide angle you want, °.")],
    tolerance: Annotated[
        str, typer.Option("--tolerance", metavar="DEG", help="How near is near enough, °.")
    ] = "0.5",
) -> None:
    """Say which slide angle you throw a face best with."""
    from rig.study.folder.catalogue import Target
    from rig.study.folder.catalogue_file import set_target
    from rig.study.folder.study import open_study

    entry = Target(
        angle_deg=quantity("The angle", angle, "°", 1, 59),
        tolerance_deg=quantity("--tolerance", tolerance, "°", 0.05, 20),
    )
    path = open_study(folder).catalogue_path
    set_target(path, face, entry)
    say(f"The target of {face} is {entry.angle_deg:g}° ± {entry.tolerance_deg:g}°, in {path}.")


def _faces(texts: list[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        name, _, fabric = (part.strip() for part in text.partition("="))
        name = name and safe_name(name, "face")
        if not name or name in found:
            raise BadInputError(f"--face {text!r}: each face needs a name of its own.")
        found[name] = fabric
    return found


def _add(folder: Path, section: str, name: str, entry: object) -> None:
    import msgspec

    from rig.study.folder.catalogue_file import add_table
    from rig.study.folder.study import open_study

    path = open_study(folder).catalogue_path
    assert isinstance(entry, msgspec.Struct)  # noqa: S101 - the section's own type
    add_table(path, section, name, entry)
    say(f"Added {name} to {path}.")


def plan(
    folder: Folder,
    add: Annotated[
        bool, typer.Option("--add", help="Append what the catalogue wants and the plan lacks.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Make a new one; the old one is kept as plan-N.csv.")
    ] = False,
    hours: Annotated[
        str | None,
        typer.Option("--hours", metavar="H", help="Make the best plan for so long on the rig."),
    ] = None,
    without_reference: Annotated[
        bool,
        typer.Option("--without-reference", help="With --hours: no reference bag on the board."),
    ] = False,
    controls: Annotated[
        int | None,
        typer.Option("--controls", min=0, help="With --hours: so many untreated bags will do."),
    ] = None,
    json: Json = False,
) -> None:
    """Make plan.csv, or check the one that is there (you may edit it) and say what it takes."""
    import msgspec

    from rig.study.answer.foreseen import scatter_seen, shown_words
    from rig.study.folder.study import open_study
    from rig.study.plan.keep import add_to_plan, current_plan, timed_plan
    from rig.study.plan.progress import progress
    from rig.study.plan.rows import plan_warnings
    from rig.study.plan.status import (
        minutes_per_run,
        missing_climates,
        plan_hours,
        session_rows,
    )
    from rig.study.plan.trial import prior_scatter
    from rig.study.slides.table import slide_table

    if add and replace:
        raise BadInputError("Choose --add or --replace, not both.")
    if add and hours is not None:
        raise BadInputError("--hours makes a new plan; leave out --add.")
    if hours is None and (without_reference or controls is not None):
        raise BadInputError("--without-reference and --controls go with --hours H.")
    opened = open_study(folder)
    records = slide_table(opened).of_rig
    per_run = minutes_per_run(opened, records)
    shows = None
    if hours is not None:
        wanted = quantity("--hours", hours, "h", 0.1, 1000)
        scatter = scatter_seen(opened) or prior_scatter()
        rows, shows = timed_plan(
            opened,
            wanted,
            per_run,
            scatter,
            replace=replace,
            without_reference=without_reference,
            controls=controls,
        )
    else:
        rows = add_to_plan(opened) if add else current_plan(opened, replace=replace)
    on_rig_h = plan_hours(opened, rows, per_run)
    missing = missing_climates(opened, progress(opened, rows, records), records)
    warnings = plan_warnings(rows, opened)
    if json:
        print_json(
            {
                "plan": str(opened.plan_path),
                "rows": [msgspec.to_builtins(row) for row in rows],
                "hours": on_rig_h,
                "missing_climates": missing,
                "warnings": warnings,
                "foreseen": None if shows is None else msgspec.to_builtins(shows),
            }
        )
        return
    tell(f"{opened.plan_path}: {len(rows)} rows, about {on_rig_h:.1f} h on the rig.")
    print_table(session_rows(opened, rows, per_run))
    if shows is not None:
        tell(f"With this plan, {shown_words(shows.detectable_deg)}.")
        tell(f"The effect on a face comes out with ± {shows.half_width_deg:.1f}°.")
    for sentence in [*missing, *warnings]:
        tell(sentence)
