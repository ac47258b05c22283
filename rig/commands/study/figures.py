"""The `rig study` commands that show: status, readers, droop, power, export."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import Json, print_json, print_table, say, tell
from rig.commands.quantities import quantity
from rig.commands.study.options import Folder, figure
from rig.quantities.figures import signed

if TYPE_CHECKING:
    from rig.study.answer.answer import Offset
    from rig.study.folder.study import Study
    from rig.study.slides.slide import Slide


def status(
    folder: Folder,
    journal: Annotated[
        bool, typer.Option("--journal", help="List the journal's lines with their numbers.")
    ] = False,
    json: Json = False,
) -> None:
    """Say what is done, what is missing, what comes next and how long it takes."""
    import msgspec

    from rig.study.folder.study import open_study
    from rig.study.plan.status import study_status
    from rig.study.slides.table import slide_table

    study = open_study(folder)
    if journal:
        _show_journal(study, json)
        return
    table = slide_table(study)
    found = study_status(study, table)
    if table.unchecked:
        say(table.unchecked)
    if json:
        print_json(msgspec.to_builtins(found))
        return
    by_hand = found.slides_by_hand
    apart = [
        f"{number} {what}"
        for number, what in (
            (found.runs_not_counting, "more that do not"),
            (found.runs_outside_plan, "outside the plan"),
        )
        if number
    ]
    aside = f" ({', '.join(apart)})" if apart else ""
    tell(f"Next: {found.next_step}")
    tell(
        f"{found.study}: {_count(found.bags, 'bag')}, {_count(found.boards, 'board')},"
        f" {_count(found.runs, 'run')} that count{aside}"
        + (f", {_count(by_hand, 'slide')} read by hand." if by_hand else ".")
    )
    if found.blocks:
        print_table(
            [
                ("stage", "climate", "series", "runs", "left"),
                *(
                    (
                        block.stage,
                        block.climate,
                        f"{block.series_done} of {block.series_planned}",
                        f"{block.runs_done} of {block.runs_planned}",
                        f"{block.hours_left:.1f} h",
                    )
                    for block in found.blocks
                ),
            ]
        )
    for title, names in (
        ("Treated", found.treatments_done),
        ("Still to treat", found.treatments_missing),
    ):
        if names:
            tell(f"{title}: {'; '.join(names)}.")
    for sentence in [*found.missing_climates, *found.warnings]:
        tell(sentence)
    if found.hours_left:
        tell(
            f"Left on the rig: about {found.hours_left:.1f} h, at {found.minutes_per_run:.1f} min"
            " for a run; treatments and acclimatising come on top."
        )


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _show_journal(study: "Study", json: bool) -> None:
    import msgspec

    counting = {entry.line for entry in study.journal.standing()}
    lines = [
        msgspec.to_builtins(entry) | {"counts": entry.line in counting}
        for entry in study.journal.lines
    ]
    if json:
        print_json({"lines": lines, "problems": study.journal.problems})
        return
    leave = ("line", "kind", "at", "written_at", "counts")
    rows = [("line", "counts", "at", "kind", "what")]
    for line in lines:
        what = ", ".join(
            f"{key} {_short(value)}"
            for key, value in line.items()
            if key not in leave and value not in (None, "", [])
        )
        counts = "yes" if line["counts"] else "no"
        rows.append((str(line["line"]), counts, line["at"], line["kind"], what))
    print_table(rows)
    for problem in study.journal.problems:
        tell(problem)


def _short(value: object) -> str:
    if isinstance(value, list | tuple):
        return " ".join(
            str(one.get("action", one)) if isinstance(one, dict) else f"{one}" for one in value
        )
    return f"{value}"


def _slides(study: "Study") -> "list[Slide]":
    """The study's slides; what can't be read is said."""
    from rig.study.slides.table import slide_table

    table = slide_table(study)
    for problem in table.problems:
        say(problem)
    return table.slides


def show_readers(study: "Study", json: bool) -> None:
    """Each reader beside the rig as read, and the offset that answers take for that reader."""
    import msgspec

    from rig.study.folder.journal import Reading
    from rig.study.readings import reader_biases, rig_angles

    biases = reader_biases(study.journal.of(Reading), rig_angles(_slides(study)))
    offsets = _offsets(study) if any(bias.n_compared for bias in biases) else {}
    if json:
        print_json(
            {
                "readers": [
                    msgspec.to_builtins(bias)
                    | {"offset": msgspec.to_builtins(offsets.get(bias.reader))}
                    for bias in biases
                ]
            }
        )
        return
    if not biases:
        print("No readings by hand yet.")
        return
    titles = "reader|readings|beside the rig|less rig °|scatter °|rig's °|offset °|range °"
    rows: list[tuple[str, ...]] = [tuple(titles.split("|"))]
    for bias in biases:
        offset = offsets.get(bias.reader)
        rows.append(
            (
                bias.reader,
                str(bias.n_readings),
                str(bias.n_compared),
                figure(bias.bias_deg, 2),
                figure(bias.scatter_deg, 2),
                figure(bias.rig_scatter_deg, 2),
                "–" if offset is None else signed(offset.offset_deg, 1),
                "–"
                if offset is None
                else f"{signed(offset.lower_deg, 1)} to {signed(offset.upper_deg, 1)}",
            )
        )
    print_table(rows)
    tell(
        "Less rig: mean of readings minus runs of the same bag in the same session, as they stand."
        " Offset: what answers take for the reader, as in `rig compare`."
    )


def _offsets(study: "Study") -> "dict[str, Offset]":
    """What the answer takes for each reader."""
    from rig.study.answer.ask import ask

    found = ask(study).answer.boards
    return {one.who: one for one in found if one.what == "reader"}


def show_droop(study: "Study", json: bool) -> None:
    """All droop readings, and how they go with the slide angle."""
    import msgspec

    from rig.study.droop import LIMITS, droop_against_slide, slide_means, summarise_droop
    from rig.study.folder.journal import Droop

    found = summarise_droop(study.journal.of(Droop))
    if not found and not json:
        print("No droop readings yet.")
        return
    against = droop_against_slide(found, slide_means(_slides(study)))
    if json:
        print_json(
            {
                "droop": [msgspec.to_builtins(one) for one in found],
                "against_slide_angle": msgspec.to_builtins(against),
                "limits": LIMITS,
            }
        )
        return
    titles = "bag, face up|stage|over mm|seams|layings|angle °|scatter °"
    lengths = "c mm (Peirce)|c mm (L/2 at 41.5°)"
    rows: list[tuple[str, ...]] = [tuple(f"{titles}|{lengths}".split("|"))]
    for one in found:
        rows.append(
            (
                f"{one.bag} {one.face}",
                one.stage,
                f"{one.overhang_mm:g}",
                one.seams or "–",
                f"{one.n_layings} in {one.n_sittings}",
                f"{one.mean_angle_deg:.1f} ± {figure(one.u_angle_deg, 1)}",
                figure(one.repeat_deg, 1),
                f"{one.bending_length_peirce_mm:.1f} ± {figure(one.u_bending_length_mm, 1)}",
                figure(one.bending_length_half_at_415_mm, 1),
            )
        )
    print_table(rows)
    tell("± is the standard uncertainty; c is the bending length by the convention named.")
    for limit in LIMITS:
        tell(limit)
    if against is not None:
        tell(f"{against.sentence} (r = {signed(against.correlation)}, n = {against.n}.)")


def power(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[STUDY]", help="Bags, plan and scatter of this study."),
    ] = None,
    difference: Annotated[
        str, typer.Option("--difference", metavar="DEG", help="Wanted to be found, in °.")
    ] = "1.5",
    bags: Annotated[
        int | None, typer.Option("--bags", min=1, help="Bags of each treatment.")
    ] = None,
    controls: Annotated[
        int | None, typer.Option("--controls", min=0, help="Untreated bags.")
    ] = None,
    sessions: Annotated[
        int | None, typer.Option("--sessions", min=1, help="Sittings at each stage.")
    ] = None,
    series: Annotated[
        int | None, typer.Option("--series", min=1, help="Of each bag face in a sitting.")
    ] = None,
    runs: Annotated[
        int | None, typer.Option("--runs", min=1, help="Slides of each series.")
    ] = None,
    sd_run: Annotated[
        str | None, typer.Option("--sd-run", metavar="DEG", help="Scatter of a slide, in °.")
    ] = None,
    sd_series: Annotated[
        str | None, typer.Option("--sd-series", metavar="DEG", help="Of a mounting, in °.")
    ] = None,
    sd_bag: Annotated[
        str | None,
        typer.Option("--sd-bag", metavar="DEG", help="How differently like bags change, in °."),
    ] = None,
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="Read by a person, without a rig.")
    ] = False,
    json: Json = False,
) -> None:
    """Say what a trial can show before anything is treated; treatments can't be undone."""
    import msgspec

    from rig.study.answer.foreseen import scatter_seen, shown_words
    from rig.study.folder.study import open_study
    from rig.study.plan.trial import Trial, chance_to_show, foresee, prior_scatter, trial_of

    scatter, origin = prior_scatter(by_hand=by_hand), "expected, not measured"
    planned = Trial(treated=3, controls=1, sessions=1, series=1, slides=3)
    if folder is not None:
        study = open_study(folder)
        planned = trial_of(study)
        seen = scatter_seen(study)
        if seen is not None:
            scatter, origin = seen, "of this study"
    typed = {
        "treated": bags,
        "controls": controls,
        "sessions": sessions,
        "series": series,
        "slides": runs,
    }
    given = {name: value for name, value in typed.items() if value is not None}
    trial = msgspec.structs.replace(planned, **given)
    known = {
        "run_deg": ("--sd-run", sd_run),
        "series_deg": ("--sd-series", sd_series),
        "response_deg": ("--sd-bag", sd_bag),
    }
    stated = {
        key: quantity(option, text, "°", 0, 45)
        for key, (option, text) in known.items()
        if text is not None
    }
    scatter = msgspec.structs.replace(scatter, **stated)
    wanted = quantity("--difference", difference, "°", 0.01, 45)
    foreseen = foresee(trial, scatter)
    chance = chance_to_show(wanted, trial, scatter)
    if json:
        print_json(
            {
                "trial": msgspec.to_builtins(trial),
                "scatter": msgspec.to_builtins(scatter),
                "scatter_from": origin,
                **msgspec.to_builtins(foreseen),
                "difference_deg": wanted,
                "power": chance,
            }
        )
        return
    tell(
        f"Scatter: slides {scatter.run_deg:.2f}°, series {scatter.series_deg:.2f}°,"
        f" sittings {scatter.session_deg:.2f}°, applications {scatter.response_deg:.2f}°"
        f" ({origin})."
    )
    tell(
        f"{_count(trial.treated, 'bag')} of a treatment and {_count(trial.controls, 'control')};"
        f" at each stage {_count(trial.sessions, 'sitting')}, {_count(trial.series, 'mounting')} of"
        f" each face, {_count(trial.slides, 'slide')} each: the effect on a face comes out with"
        f" ± {foreseen.half_width_deg:.1f}°."
    )
    tell(f"An effect of {wanted:g}° is shown with a chance of {100.0 * chance:.0f} %.")
    tell(f"With these, {shown_words(foreseen.detectable_deg)}.")


def export(
    folders: Annotated[
        list[Path], typer.Argument(metavar="STUDY...", help="Study folders, also of other rigs.")
    ],
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write CSV to this file.")
    ] = None,
    parquet: Annotated[
        Path | None, typer.Option("--parquet", metavar="FILE", help="Write Parquet to this file.")
    ] = None,
    json: Json = False,
) -> None:
    """Write one tidy table of several studies: a row for each run, units in the column names.

    Without --csv and --parquet the table goes to stdout as CSV. In CSV a text that a spreadsheet
    would run as a formula has an apostrophe in front.
    """
    from rig.study.export import csv_text, export_rows, write_table_csv, write_table_parquet

    rows, problems = export_rows(folders)
    for problem in problems:
        say(problem)
    if csv is not None:
        write_table_csv(csv, rows)
        say(f"Wrote {len(rows)} runs to {csv}.")
    if parquet is not None:
        write_table_parquet(parquet, rows)
        say(f"Wrote {len(rows)} runs to {parquet}.")
    if json:
        print_json({"runs": rows})
    elif csv is None and parquet is None:
        sys.stdout.write(csv_text(rows))
