"""`rig run`: make runs, each into its own file, and print what they say."""

import logging
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from rig.commands.help import HelpAll
from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Speed,
    Twin,
    Units,
    print_json,
    say,
    settings_of,
    simulated,
    speed_of,
    system_of,
)
from rig.commands.quantities import echoed, moment, name_option, quantity_option
from rig.errors import BadInputError
from rig.settings.method import DWELL_S, GAP_MM, RATE_DEG_S, RUNS

if TYPE_CHECKING:
    from rig.control.request import RunRequest
    from rig.errors import RigError

INTERRUPTED = 130
Purpose = Literal["bridge", "check"]


def run(
    bag: Annotated[
        str | None,
        name_option("--bag", "bag", "Which bag lies on the board."),
    ] = None,
    face: Annotated[str | None, name_option("--face", "face", "Its face on the board.")] = None,
    board: Annotated[str | None, name_option("--board", "board", "The board on the rig.")] = None,
    new: Annotated[
        bool, typer.Option("--new", help="Names that the study beside does not know are new ones.")
    ] = False,
    repeat: Annotated[
        int, typer.Option("--repeat", min=RUNS[0], max=RUNS[1], help="Runs to make.")
    ] = 1,
    rate: Annotated[
        float | None,
        quantity_option("--rate", "°/s", *RATE_DEG_S, "Raise rate in °/s."),
    ] = None,
    rates: Annotated[
        str | None,
        typer.Option(
            "--rates",
            metavar="R,R,R",
            help="--repeat runs at each, in random order: all after the first check the material.",
        ),
    ] = None,
    dwell: Annotated[
        float | None,
        quantity_option("--dwell", "s", *DWELL_S, "Rest before the raise in s."),
    ] = None,
    gap: Annotated[
        float | None,
        quantity_option("--gap", "mm", *GAP_MM, "Leading edge to beam, as placed, in mm."),
    ] = None,
    session: Annotated[
        str | None,
        name_option("--session", "session", "Name of this sitting."),
    ] = None,
    operator: Annotated[str | None, name_option("--operator", "operator", "Who does it.")] = None,
    now: Annotated[
        bool, typer.Option("--now", help="The bag lies ready: the first run waits for no button.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the run files.")
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Resume the interrupted series in --out.")
    ] = False,
    unattended: Annotated[
        bool,
        typer.Option(
            "--unattended",
            help="Nobody watches, a blade places the bag: three bad runs in a row end it.",
        ),
    ] = False,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", metavar="T:TOL", help="Wait for this air, as 23:2 in °C."),
    ] = None,
    humidity: Annotated[
        str | None,
        typer.Option("--humidity", metavar="H:TOL", help="Wait for this air, as 50:4 in %RH."),
    ] = None,
    steady: Annotated[
        float,
        quantity_option("--steady", "min", 0, 1440, "Minutes that the air must be so before."),
    ] = 5.0,
    climate_timeout: Annotated[
        float,
        quantity_option("--climate-timeout", "min", 0.1, 2880, "Minutes to wait for the air."),
    ] = 120.0,
    until: Annotated[
        float | None,
        quantity_option(
            "--until", "°", 0.01, 10, "Enough when the series' mean is known to ± this in °."
        ),
    ] = None,
    least: Annotated[
        int | None,
        typer.Option(
            "--least",
            min=2,
            max=RUNS[1],
            help="With --until: runs in any case (3); --repeat at most.",
        ),
    ] = None,
    bad_runs: Annotated[
        int | None,
        typer.Option("--bad-runs", min=1, max=100, help="End after so many bad runs in a row."),
    ] = None,
    stop_at_trend: Annotated[
        bool, typer.Option("--stop-at-trend", help="End when the coefficient drifts with the runs.")
    ] = False,
    clean_every: Annotated[
        int | None,
        typer.Option("--clean-every", min=1, max=RUNS[1], help="Slides between reminders to wipe."),
    ] = None,
    quick: Annotated[
        bool,
        typer.Option("--quick", help="One settling raise, then fast to 3° below its slide."),
    ] = False,
    purpose: Annotated[
        Purpose | None,
        typer.Option(
            "--purpose",
            help="bridge: --repeat runs each, whole at 1 °/s and with quick starts at 0.3 °/s, to"
            " compare the two methods. check: runs at another rate, as a check of the material.",
        ),
    ] = None,
    service: Annotated[
        bool,
        typer.Option("--service", help="Stand by until the start button is pressed; for systemd."),
    ] = False,
    plan: Annotated[
        Path | None,
        typer.Option("--plan", metavar="STUDY", help="Make the next session of a study's plan."),
    ] = None,
    sets: Annotated[
        list[str] | None,
        name_option(
            "--set",
            "set",
            "Each face of each bag of this set, --repeat runs each; may be repeated.",
        ),
    ] = None,
    climate: Annotated[
        str | None,
        name_option(
            "--climate", "climate", "With --plan: the session in this climate.", metavar="NAME"
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            "--at", metavar="TIME", help="With --plan and --twin: the simulated rig's wall time."
        ),
    ] = None,
    law: Annotated[
        str | None,
        typer.Option(
            "--law",
            metavar="NAME",
            help="With --twin: the law of friction (coulomb, slip_weakening, stribeck, lugre).",
        ),
    ] = None,
    overdue_ok: Annotated[
        bool,
        typer.Option("--overdue-ok", help="Take a calibration that is past due; flags the runs."),
    ] = False,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    speed: Speed = "fast",
    units: Units = "metric",
    json: Json = False,
    help_all: HelpAll = False,
) -> None:
    """Wait for the start button (or --now), make the runs, print a row for each."""
    from msgspec.structs import replace

    from rig.commands.run.asked import evening_of, expected_scatter, most_runs
    from rig.commands.run.caution import caution_of
    from rig.commands.run.names import check_names, study_beside
    from rig.commands.run.series import ShownSeries
    from rig.opening import OnBoard, open_rig
    from rig.procedures.rates import parse_rates
    from rig.procedures.requests import plan_series
    from rig.procedures.series.climate_gate import parse_band
    from rig.procedures.series.log import SeriesOptions, unfinished_in
    from rig.procedures.series.stop_rules import LEAST_RUNS
    from rig.settings.checks import check_rate

    has_rule, has_way = until is not None or stop_at_trend, rate is not None or purpose is not None
    if (rates is not None and has_way) or ((rates or purpose) and has_rule):
        raise BadInputError(
            "--rates goes with neither --rate nor --purpose, and neither of --rates and --purpose"
            " with --until or --stop-at-trend: such runs have no one angle; leave one of them out."
        )
    if law is not None and not twin:
        raise BadInputError("--law is of the simulated rig; give --twin too, or leave it out.")
    at_rates = () if rates is None else parse_rates(rates)
    seed, home, rig = simulated(twin, seed, rig, plan, out)
    settings = settings_of(rig)
    for one in at_rates:
        check_rate(settings, one, "A rate of --rates")
    if rate is not None:
        check_rate(settings, rate, "--rate")
    if unattended and not settings.blade.fitted:
        raise BadInputError(
            "--unattended needs a blade, and these settings have none; run without --unattended and"
            " press start for each run, or set `fitted = true` under [blade]."
        )
    if quick and settings.motion.raised_by == "hand":
        raise BadInputError(
            "--quick is for a motor: a board that is raised by hand rises at one pace all the way;"
            " leave --quick out."
        )
    folder = out or Path(settings.files.runs)
    most = most_runs(until, least, repeat)
    options = SeriesOptions(
        unattended=unattended,
        climate=parse_band(temperature, humidity, climate_timeout * 60, steady * 60, echoed),
        bad_in_a_row=bad_runs,
        stop_at_trend=stop_at_trend,
        clean_every=clean_every,
        quick=quick or purpose == "bridge",
    )
    if until is not None:
        options = replace(
            options,
            until_angle_deg=until,
            least_runs=least or LEAST_RUNS,
            slide_scatter=expected_scatter(),
        )
    if plan is not None or sets:
        from rig.commands.run.plan import PlanRuns
        from rig.files.stamps import parse_utc
        from rig.files.time_here import now_in

        place = home or plan or folder
        begin = None if at is None else parse_utc(moment("--at", at, now_in(place)))
        is_counted = repeat > 1 and until is None
        if plan is not None and (bag or face or board or session or resume or rates or is_counted):
            raise BadInputError(
                "--plan says itself which bag, face, board, session and how many runs; leave out"
                " the other options that do."
            )
        if quick or purpose is not None:
            raise BadInputError(
                "In a study `raise_start` in study.toml says how the board is raised; leave out"
                " --quick and --purpose."
            )
        of, rows = plan or Path(), None
        if sets:
            begin = begin or (now_in(home) if home else None)
            of, rows = evening_of(sets, folder, plan, board, repeat, session, begin)
        if not twin:
            say(caution_of(settings))
        session_runs = PlanRuns(
            of,
            settings,
            climate=climate,
            rows=rows,
            options=options,
            most=most,
            steady_s=steady * 60,
            timeout_s=climate_timeout * 60,
            operator=operator,
            quiet=json,
            units=system_of(units),
        )
        done = session_runs.make(
            twin=twin,
            seed=seed,
            home=home,
            speed=speed_of(speed),
            at=begin,
            law=law,
            overdue_ok=overdue_ok,
            settings_file=rig,
        )
        _finish(done.paths, done.failure, done.signal, done.all_slid, json)
        return
    if not resume:
        check_names(folder, bag, face, board, new=new)
    else:
        planned = unfinished_in(folder).planned.requests
        for request in planned:
            check_rate(settings, request.rate_deg_s, "The rate of the unfinished series")
        first = planned[0]
        bag, face, board = first.bag, first.face, first.board
    opened = open_rig(
        settings,
        twin=twin,
        seed=seed,
        home=home,
        speed=speed_of(speed),
        on_board=OnBoard(bag=bag, face=face, board=board, study=study_beside(folder), law=law),
        settings_file=rig,
    )
    opened.machine.allow_overdue = overdue_ok

    def requests() -> "list[RunRequest]":
        asked = {"bag": bag, "face": face, "board": board, "session": session}
        return plan_series(
            settings,
            most or repeat,
            source=opened.source,
            started=opened.machine.clock.utc_now(),
            rate_deg_s=rate,
            rates_deg_s=at_rates,
            dwell_s=dwell,
            gap_mm=gap,
            operator=operator,
            purpose=purpose,
            **asked,
        )

    for line in opened.notes:
        say(line)
    if not twin:
        say(caution_of(settings))
    series = ShownSeries(opened, folder, quiet=json, options=options, units=system_of(units))
    if service:
        logging.basicConfig(
            stream=sys.stderr, level=logging.INFO, format="%(levelname)s %(message)s"
        )
        series.serve(requests)
    failure = series.make([] if resume else requests(), start_now=now, resume=resume)
    _finish(series.paths, failure, series.signal, series.all_slid, json)


def _finish(
    paths: "list[Path]", failure: "RigError | None", signal: str | None, all_slid: bool, json: bool
) -> None:
    """Print the document if it is wanted, and leave with the code that tells how it ended."""
    if json:
        from rig.analysis.load import analyse

        document = analyse(paths).document() if paths else {"runs": [], "groups": []}
        print_json(document)
    if failure is not None:
        if signal is not None:
            sys.exit(INTERRUPTED)
        raise failure
    if not all_slid:
        sys.exit(1)
