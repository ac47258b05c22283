"""What a trial can show, and the best plan for the time there is."""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from rig.errors import BadInputError
from rig.study.answer import effects
from rig.study.answer.ask import ask
from rig.study.plan.keep import timed_plan
from rig.study.plan.rows import read_plan
from rig.study.plan.status import plan_hours
from rig.study.plan.trial import (
    SHOWN,
    Scatter,
    Trial,
    chance_to_show,
    foresee,
    prior_scatter,
    trial_of,
)
from tests.study.answer.evening import evening
from tests.study.folder_example import make_study

SCATTER = Scatter(run_deg=0.4, series_deg=0.3, session_deg=0.5, response_deg=0.2)


def test_a_trial_by_hand() -> None:
    """Worked out with pencil: the variance of a difference of changes, drawn to the prior."""
    trial = Trial(treated=4, controls=2, sessions=2, series=1, slides=4)
    one = 2 / 2 * (0.09 + 0.04)  # 0.13 for a bag's change
    variance = one / 4 + one / 2 + 0.04 / 4  # 0.1075
    left = 1 / (1 / variance + 1 / (2.0**2 + 0.8**2))
    found = foresee(trial, SCATTER)
    assert found.half_width_deg == pytest.approx(1.96 * sqrt(left), rel=1e-3)
    shown_at = found.detectable_deg - 0.8416 * sqrt(variance)
    assert _p_sign_by_numbers(shown_at, variance) == pytest.approx(0.975, abs=1e-4)
    assert chance_to_show(found.detectable_deg, trial, SCATTER) == pytest.approx(0.8, abs=1e-4)
    assert chance_to_show(shown_at, trial, SCATTER) == pytest.approx(0.5, abs=1e-3)


def _p_sign_by_numbers(estimate_deg: float, variance: float) -> float:
    """Bayes' theorem on a grid: nothing in a third, else normal with the prior's variance."""
    effect = np.linspace(-15.0, 15.0, 60_001)
    step = effect[1] - effect[0]
    prior = norm.pdf(effect, scale=sqrt(2.0**2 + 0.8**2)) * step * 2.0 / 3.0
    each = prior * norm.pdf(estimate_deg, effect, sqrt(variance))
    nothing = norm.pdf(estimate_deg, 0.0, sqrt(variance)) / 3.0
    return float(each[effect > 0.0].sum() / (each.sum() + nothing))


def test_shown_means_what_it_means_in_the_answer() -> None:
    assert SHOWN == effects.SHOWN


def test_a_sitting_before_and_one_after_show_little_without_a_control() -> None:
    """As `tests/bench/MODEL.md` has it of the model: 90 to 100 and 7 to 13 % of 30 evenings."""
    with_control = Trial(treated=3, controls=1, sessions=1, series=1, slides=3)
    without = Trial(treated=4, controls=0, sessions=1, series=1, slides=3)
    assert 0.8 < chance_to_show(1.9, with_control, prior_scatter()) < 0.95
    assert 0.05 < chance_to_show(1.9, without, prior_scatter()) < 0.35


def test_without_controls_a_sittings_shift_stays_in_the_difference() -> None:
    trial = Trial(treated=4, controls=0, sessions=1, series=1, slides=4)
    variance = 2 * 0.13 / 4 + 0.04 / 4 + 2 * 0.25
    left = 1 / (1 / variance + 1 / 4.64)
    assert foresee(trial, SCATTER).half_width_deg == pytest.approx(1.96 * sqrt(left), rel=1e-3)


def test_a_trial_needs_a_treated_bag() -> None:
    with pytest.raises(BadInputError, match="needs a treated bag"):
        foresee(Trial(treated=0, controls=2, sessions=1, series=1, slides=3), SCATTER)


@pytest.mark.long
def test_what_is_foreseen_is_what_the_model_then_finds(tmp_path: Path) -> None:
    """Of four evenings the mean half width lies within a quarter of what was foreseen."""
    widths = []
    for seed in range(4):
        study = evening(tmp_path / f"{seed}", faces=("grip",), seed=seed)
        (effect,) = ask(study).answer.treatments
        widths.append((effect.upper_deg - effect.lower_deg) / 2)
    foreseen = foresee(trial_of(study), prior_scatter(by_hand=True)).half_width_deg
    assert sum(widths) / 4 == pytest.approx(foreseen, rel=0.25)


def test_the_best_plan_fits_the_hours(tmp_path: Path) -> None:
    study = make_study(tmp_path / "s")
    run_min = 1.0
    _, short = timed_plan(study, 7.0, run_min, SCATTER)
    assert short is not None
    rows, long = timed_plan(study, 20.0, run_min, SCATTER, replace=True)
    assert long is not None
    assert long.half_width_deg < short.half_width_deg
    assert rows == read_plan(study)
    assert (study.path / "plan-1.csv").exists()
    with pytest.raises(BadInputError, match="The shortest plan takes about"):
        timed_plan(study, 0.5, run_min, SCATTER, replace=True)
    assert rows == read_plan(study)
    with pytest.raises(BadInputError, match="--replace puts it aside"):
        timed_plan(study, 20.0, run_min, SCATTER)


def test_a_plan_may_do_without_the_reference_bag(tmp_path: Path) -> None:
    study = make_study(tmp_path / "s")
    rows, _ = timed_plan(study, 20.0, 1.0, SCATTER, without_reference=True)
    assert "reference" not in {row.action for row in rows}


def test_checks_of_the_material_are_planned_where_there_is_time_for_them(tmp_path: Path) -> None:
    """They narrow no effect, so they never take the place of a slide that does."""

    def checks(hours: float, name: str) -> tuple[int, int]:
        study = make_study(tmp_path / name, check_runs=3)
        rows, _ = timed_plan(study, hours, 1.0, SCATTER)
        actions = [row.action for row in rows]
        return actions.count("check"), actions.count("run")

    n_checks, n_runs = checks(1e3, "long")
    assert n_checks == 3
    plain = make_study(tmp_path / "plain")
    rows, _ = timed_plan(plain, 1e3, 1.0, SCATTER)
    assert [row.action for row in rows].count("run") == n_runs
    hours = plan_hours(plain, rows, 1.0)
    assert checks(hours + 1e-6, "exact") == (0, n_runs)
