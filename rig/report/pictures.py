"""The figures of a page, drawn in the order in which it shows them."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rig.analysis.friction import analyse_run
from rig.calibration.model import Calibration
from rig.quantities.shown import System, system
from rig.report import (
    figures_climate,
    figures_effects,
    figures_rig,
    figures_run,
    figures_series,
)
from rig.report.evidence import Evidence
from rig.report.style import Picture, styled, svg_text
from rig.runfile.reader import read_run
from rig.study.compare_changes import Place
from rig.study.compare_levels import levels_by_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_PLACES = 4
"""Faces on boards with figures of their own; the tables hold all of them."""
HOME_LIMIT_DEG = 0.5

Drawn = Iterator[tuple[str, "Figure | None"]]


def places_of(evidence: Evidence) -> list[Place]:
    """Faces on boards, those measured most first."""
    counted: dict[Place, int] = {}
    for cell in evidence.comparison.cells:
        place = Place(cell.face, cell.board)
        counted[place] = counted.get(place, 0) + cell.n_runs
    return sorted(counted, key=lambda place: (-counted[place], place))[:MOST_PLACES]


def study_figures(evidence: Evidence, units: System = "metric") -> Drawn:
    """Name and figure, one after the other; call it inside `styled()`."""
    shown = system(units)
    gathered, comparison = evidence.gathered, evidence.comparison
    rows, bags, model = gathered.rows, gathered.bags, comparison.model
    yield "effects", figures_effects.effects_figure(comparison)
    places = places_of(evidence)
    for k, place in enumerate(places):
        changed = comparison.changes.get(place)
        if changed and comparison.after is not None:
            figure = figures_effects.paired_figure(
                changed, place, comparison.before, comparison.after
            )
            yield f"paired-{k + 1}", figure
    for k, place in enumerate(places):
        yield f"cells-{k + 1}", figures_effects.cells_figure(comparison.cells, bags, place)
    for k, place in enumerate(places):
        yield f"climate-{k + 1}", figures_climate.climate_figure(model, rows, *place)
    if evidence.choice is not None:
        yield "choice", figures_climate.choice_figure(evidence.choice)
    levels = figures_climate.last_levels(levels_by_unit(rows, model), rows)
    sets = {name: info.set for name, info in bags.items() if info.set}
    for k, board in enumerate(dict.fromkeys(place.board for place in places)):
        yield f"sets-{k + 1}", figures_climate.sets_figure(levels, sets, board)
    yield (
        "droop",
        figures_rig.droop_figure(
            evidence.droops, evidence.slide_deg, evidence.droop_line, shown["mm"]
        ),
    )
    reference = gathered.study.catalogue.reference
    title = "Slide angle by run order, with the air"
    yield "order", figures_series.order_figure(rows, shown["c"], title, reference)
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
    yield "home", figures_rig.home_figure(evidence.home_made_at, evidence.home, HOME_LIMIT_DEG)


def run_figures(path: Path, units: System, calibration: Calibration | None = None) -> Drawn:
    """Name and figure of one run file.

    Raises:
        BadInputError: it is no run file, or has no calibration and none is given.
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
    """All figures of a study as SVG; what a study does not have is left out."""
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
    return Picture(name, title, f"{title}. {note}", svg_text(figure))
