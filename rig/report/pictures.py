"""The figures of a page, drawn in the order in which it shows them."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rig.analysis.checks import HOME_DEG
from rig.analysis.friction import analyse_run
from rig.calibration.model import Calibration
from rig.quantities.shown import System, system
from rig.report import (
    figures_answer,
    figures_rig,
    figures_run,
    figures_series,
    figures_weather,
)
from rig.report.evidence import Evidence
from rig.report.style import Picture, styled, svg_text, themed
from rig.runfile.reader import read_run

if TYPE_CHECKING:
    from matplotlib.figure import Figure


Drawn = Iterator[tuple[str, "Figure | None"]]


def study_figures(evidence: Evidence, units: System = "metric") -> Drawn:
    """Name and figure, one after the other; call it inside `styled()`."""
    shown = system(units)
    answer = evidence.answer
    yield from _paths(evidence)
    yield "effects", figures_answer.effects_figure(answer)
    for target in answer.targets:
        yield f"day-{target.face}", figures_answer.day_figure(answer, target)
    humidity_pct = answer.air.surface_humidity_pct
    yield "weather", figures_weather.weather_figure(evidence.weather, humidity_pct)
    yield (
        "droop",
        figures_rig.droop_figure(
            evidence.droops, evidence.slide_deg, evidence.droop_line, shown["mm"]
        ),
    )
    yield "order", figures_series.order_figure(evidence.slides, shown["c"], "Slides over time")
    if evidence.example is not None:
        yield "run", figures_run.run_figure(evidence.example, evidence.calibration)
        yield (
            "onset",
            figures_run.onset_figure(evidence.example, shown["mm"], evidence.calibration),
        )
        if evidence.example.budget is not None:
            yield "budget", figures_rig.budget_figure(evidence.example.budget)
    if evidence.calibration is not None:
        yield "residuals", figures_rig.residuals_figure(evidence.calibration)
    yield "home", figures_rig.home_figure(evidence.home_made_at, evidence.home, HOME_DEG)


def _paths(evidence: Evidence) -> Drawn:
    answer, paths = evidence.answer, evidence.paths
    limits = figures_answer.ranges(answer, paths)
    most = figures_answer.most_applications(answer, paths)
    targets = {one.face: one for one in answer.targets}
    for place, (one, path) in enumerate(zip(answer.bags, paths, strict=True), start=1):
        if path.is_way:
            figure = figures_answer.path_figure(
                one, path, targets.get(one.face), limits[one.face], most
            )
            yield f"path-{place}", figure


def run_figures(path: Path, units: System, calibration: Calibration | None = None) -> Drawn:
    """Name and figure of one run file.

    Raises:
        BadInputError: it is not a run file, or has no calibration and none is given.
    """
    analysis = analyse_run(read_run(path), calibration)
    yield "run", figures_run.run_figure(analysis, calibration)
    yield "onset", figures_run.onset_figure(analysis, system(units)["mm"], calibration)
    if analysis.budget is not None:
        yield "budget", figures_rig.budget_figure(analysis.budget)


def calibration_figures(calibration: Calibration) -> Drawn:
    """Name and figure of a calibration."""
    yield "residuals", figures_rig.residuals_figure(calibration)


def study_pictures(evidence: Evidence, units: System = "metric") -> list[Picture]:
    """All figures of a study for its page; what a study does not have is left out."""
    with styled():
        return [
            picture(name, figure)
            for name, figure in study_figures(evidence, units)
            if figure is not None
        ]


def picture(name: str, figure: "Figure") -> Picture:
    """A figure with its title and note as words."""
    title = " ".join(figure.get_suptitle().split())
    note = " ".join(figure.get_supxlabel().split())
    return Picture(name, title, f"{title}. {note}", themed(svg_text(figure)))
