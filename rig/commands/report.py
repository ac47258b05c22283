"""`rig report` and `rig figures`: the page of a study, and its figures one by one."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.asking import (
    Approach,
    Board,
    BoardTemperature,
    Humidity,
    StudyFolder,
    Temperature,
    asked,
)
from rig.commands.options import (
    CalibrationFile,
    Json,
    Units,
    print_json,
    say,
    system_of,
    write_out,
)
from rig.errors import BadInputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from rig.quantities.shown import System


def report(
    study: StudyFolder,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Default: report/report.html in the study."),
    ] = None,
    temperature: Temperature = None,
    humidity: Humidity = None,
    board_temperature: BoardTemperature = None,
    approach: Approach = None,
    board: Board = None,
    units: Units = "metric",
    calibration: CalibrationFile = None,
    json: Json = False,
) -> None:
    """Write one page: the answer first, then tables and figures, all in one file.

    In the air of the newest slide, unless --temperature and --humidity say another.
    """
    from rig.report.document import build
    from rig.report.evidence import collect
    from rig.report.page import render
    from rig.report.pictures import study_pictures
    from rig.study.slides.look import Contents

    system = system_of(units)
    found = asked(
        study,
        temperature=temperature,
        humidity=humidity,
        board_temperature=board_temperature,
        approach=approach,
        board=board,
        calibration=calibration,
        contents=Contents(),
        units=system,
    )
    evidence = collect(found)
    document = build(evidence)
    path = out or study / "report" / "report.html"
    page = render(
        document,
        study_pictures(evidence, system),
        study=study,
        folder=path.parent,
        units=system,
    )
    _write(path, page.encode())
    say(f"The report is {path}.")
    if json:
        print_json({"report": str(path)} | document)


def figures(
    path: Annotated[
        Path, typer.Argument(metavar="STUDY|FILE", help="A study, a run file or a calibration.")
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder for the figures.")
    ] = Path("figures"),
    form: Annotated[str, typer.Option("--format", metavar="svg|png|both")] = "both",
    units: Units = "metric",
    calibration: CalibrationFile = None,
) -> None:
    """Write the figures of a study, of one run, or of a calibration, for a text or a slide."""
    from rig.report.figures_answer import name_panel
    from rig.report.style import png_bytes, styled, svg_text

    system = system_of(units)
    if form not in ("svg", "png", "both"):
        raise BadInputError(f"--format takes `svg`, `png` or `both`, not {form!r}.")

    written = 0
    with styled():
        for name, figure in _drawn(path, system, calibration):
            if figure is None:
                continue
            name_panel(figure)
            if form != "png":
                head = '<?xml version="1.0" encoding="UTF-8"?>\n'
                _write(out / f"{name}.svg", f"{head}{svg_text(figure)}\n".encode())
            if form != "svg":
                _write(out / f"{name}.png", png_bytes(figure))
            written += 1
    say(f"{written} figures are in {out}." if written > 1 else f"The figure is in {out}.")


def _drawn(
    path: Path, units: "System", given: Path | None
) -> "Iterator[tuple[str, Figure | None]]":
    from rig.calibration.file import load_calibration
    from rig.report.evidence import collect
    from rig.report.pictures import calibration_figures, run_figures, study_figures
    from rig.study.slides.look import Contents

    if path.is_dir():
        return study_figures(collect(asked(path, calibration=given, contents=Contents())), units)
    if path.suffix == ".json":
        return calibration_figures(load_calibration(path))
    return run_figures(path, units, None if given is None else load_calibration(given))


def _write(path: Path, data: bytes) -> None:
    write_out(path, data)
