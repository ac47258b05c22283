"""Forty runs of the twin, from bag to trend: one bag stays as it is, the other polishes."""

from pathlib import Path

import pytest

from rig.analysis.friction import analyse_run
from rig.analysis.groups import trend_p
from rig.procedures.series.stop_rules import RunFigures, figures_of, trend_found
from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import Face
from tests.fastsim.run import simulate_run, write_run

RUNS = 40


def forty_runs(folder: Path, seed: int, settle_gain: float) -> list[RunFigures]:
    """A series on a face that loses `settle_gain` of its coefficient over some 15 slides."""
    face = Face(
        mu_static_dry=0.35,
        mu_kinetic_dry=0.30,
        settle_gain=settle_gain,
        settle_slides=15.0,
        scatter_run=0.006,
    )
    settings, scenario = Settings(), draw_scenario(seed, face=face)
    figures = []
    for number in range(1, RUNS + 1):
        lines, truth = simulate_run(settings, scenario, seed, number=number)
        result = analyse_run(read_run(write_run(folder, lines, truth))).result
        figures.append(figures_of(result)._replace(slide_number=number))
    return figures


def p_of(figures: list[RunFigures]) -> float | None:
    points = [
        (float(run.slide_number), run.mu_static)
        for run in figures
        if run.valid and run.slide_number is not None and run.mu_static is not None
    ]
    assert len(points) > 35
    return trend_p([points])


def is_ended(figures: list[RunFigures]) -> bool:
    rule = trend_found()
    return any(rule(figures[:n]) for n in range(1, RUNS + 1))


@pytest.mark.parametrize("seed", [3, 4])
def test_no_trend_is_claimed_of_a_bag_that_stays_as_it_is(tmp_path: Path, seed: int) -> None:
    figures = forty_runs(tmp_path, seed, 0.0)
    assert (p_of(figures) or 0.0) > 0.05
    assert not is_ended(figures)


@pytest.mark.parametrize("seed", [3, 4])
def test_a_trend_is_claimed_of_a_bag_that_polishes(tmp_path: Path, seed: int) -> None:
    figures = forty_runs(tmp_path, seed, 0.05)
    assert (p_of(figures) or 1.0) < 0.001
    assert is_ended(figures)
