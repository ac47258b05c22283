import json
import math
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec
import numpy as np
import pytest
import statsmodels.api as sm
from typer.testing import CliRunner

from rig.analysis.budget.parts import COMPARING, rate_free_component
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.rate_study import (
    AGEING,
    AGEING_PCT,
    LAW,
    STUDY,
    RateStudy,
    apply_studies,
    rate_studies,
)
from rig.analysis.rate_study_text import study_words
from rig.commands.main import app
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face
from tests.analysis.slides import one_beam, run_file, slide
from tests.fastsim.run import simulate_run, write_run

RATES = (0.25, 1.0, 3.0)
LONG_S = 3600.0
"""A rest so long that the time of the raise adds nothing to it."""


@pytest.fixture(scope="module")
def base() -> RunAnalysis:
    true = slide(0.4, 0.3, 1.0, [8.0, 160.0])
    return analyse_run(run_file(1.0, one_beam(true.edges_s)))


def made(
    base: RunAnalysis,
    angle_deg: Callable[[float, int], float],
    repeat: int = 10,
    rates: Sequence[float] = RATES,
    dwell_s: float = LONG_S,
    series: Callable[[float, int], str] = lambda rate, i: "one",
) -> list[RunAnalysis]:
    """Runs whose angles are what a function of rate and number says."""
    assert base.budget is not None
    found = []
    for rate in rates:
        parts = [part for part in base.budget.components if part.name != LAW]
        parts.append(rate_free_component(rate))
        for i in range(repeat):
            angle = angle_deg(rate, i)
            row = msgspec.structs.replace(
                base.result,
                rate_deg_s=rate,
                dwell_s=dwell_s,
                onset_angle_deg=angle,
                session="a day",
                series=series(rate, i),
            )
            budget = msgspec.structs.replace(
                base.budget, onset_angle_deg=angle, components=[*parts]
            )
            found.append(base._replace(result=row, budget=budget, solved=None))
    return found


def x(rate: float) -> float:
    return rate ** (2.0 / 3.0)


def noisy(
    slope: float, scatter: float, seed: int, *, bend: float = 0.0, grows: float = 0.0
) -> Callable[..., float]:
    rng = np.random.default_rng(seed)

    def angle_deg(rate: float, _: int) -> float:
        straight = 20.0 + slope * x(rate) + bend * (rate == 1.0)
        return straight + float(rng.normal(0.0, scatter * rate**grows))

    return angle_deg


def only(runs: list[RunAnalysis]) -> RateStudy:
    (study,) = rate_studies(runs)
    return study


def test_line_and_lack_of_fit_agree_with_another_program(base: RunAnalysis) -> None:
    runs = made(base, noisy(0.2, 0.1, 1))
    study = only(runs)
    xs = np.array([x(run.result.rate_deg_s) for run in runs])
    ys = np.array([run.result.onset_angle_deg for run in runs])
    fit = sm.OLS(ys, sm.add_constant(xs)).fit()
    assert (study.intercept_deg, study.slope_deg) == pytest.approx(tuple(fit.params), abs=1e-9)
    # Each rate has its own scatter; that of one program's HC2 comes from single residuals.
    robust = fit.get_robustcov_results("HC2").bse
    assert (study.u_intercept_deg, study.u_slope_deg) == pytest.approx(tuple(robust), rel=0.15)
    levels = np.stack([xs == x(rate) for rate in RATES], axis=1).astype(float)
    p = sm.OLS(ys, levels).fit().compare_f_test(fit)[1]
    assert study.lack_of_fit_p == pytest.approx(float(p), abs=0.15)


def test_its_standard_errors_are_right_where_fast_raises_scatter_more(base: RunAnalysis) -> None:
    slope, intercept, p_values = [], [], []
    for seed in range(100):
        study = only(made(base, noisy(0.2, 0.1, seed, grows=0.4)))
        slope.append((study.slope_deg - 0.2) / study.u_slope_deg)
        intercept.append((study.intercept_deg - 20.0) / study.u_intercept_deg)
        p_values.append(study.lack_of_fit_p)
    # About 16 degrees of freedom: the standard deviation of Student's t is 1.07.
    for scores in (slope, intercept):
        assert abs(np.mean(scores)) < 0.3
        assert 0.85 < np.std(scores) < 1.3
    assert 0.005 < np.mean(np.array(p_values) < 0.05) < 0.12


def test_where_it_helps_the_angle_is_shifted_and_the_law_replaced(base: RunAnalysis) -> None:
    runs = made(base, noisy(0.25, 0.1, 3))
    study = only(runs)
    assert study.line_holds
    assert all(at.used and at.u_with_deg < at.u_without_deg for at in study.rates)
    for before, after in zip(runs, apply_studies(runs, [study]), strict=True):
        row, budget = after.result, after.budget
        assert budget is not None
        assert row.friction_law == "rate_study"
        assert row.onset_angle_deg is not None
        assert before.result.onset_angle_deg is not None
        assert row.onset_angle_deg == pytest.approx(
            before.result.onset_angle_deg - study.slope_deg * x(row.rate_deg_s)
        )
        assert row.mu_static == pytest.approx(math.tan(math.radians(row.onset_angle_deg)))
        names = [part.name for part in budget.components]
        assert LAW not in names
        assert names[-2:] == [STUDY, AGEING]
        assert row.u_onset_angle_deg == pytest.approx(budget.u_onset_angle_deg(COMPARING))
        assert row.u_onset_angle_absolute_deg == pytest.approx(budget.u_onset_angle_deg())
        assert before.budget is not None
        assert budget.u_mu_kinetic() == pytest.approx(before.budget.u_mu_kinetic())


def test_the_shifted_means_are_as_good_as_stated(base: RunAnalysis) -> None:
    off: dict[float, list[float]] = {rate: [] for rate in RATES}
    for seed in range(100):
        study = only(made(base, noisy(0.25, 0.1, seed)))
        for at in study.rates:
            # The rest of the budget is not at play here.
            u = math.hypot(0.1 / math.sqrt(10), at.u_shift_deg)
            off[at.rate_deg_s].append((at.mean_angle_deg - at.shift_deg - 20.0) / u)
    for scores in off.values():
        assert np.mean(np.abs(scores) < 2.0) > 0.9
    assert np.std(off[0.25]) > 0.8


def test_much_scatter_or_a_bent_line_leave_everything_as_it_was(base: RunAnalysis) -> None:
    wide, bent = made(base, noisy(0.2, 8.0, 4)), made(base, noisy(0.2, 0.03, 5, bend=0.2))
    for runs in (wide, bent):
        study = only(runs)
        assert not study.used
        assert apply_studies(runs, [study]) == runs
    assert not only(bent).line_holds
    assert any("does not hold" in word for word in study_words(only(bent)))
    assert any("no uncertainty smaller" in word for word in study_words(only(wide)))


def test_ageing_feigns_the_slope_that_is_stated(base: RunAnalysis) -> None:
    # Friction grows by 2 % per tenfold time of contact, and there is no other effect of the rate.
    def aged(rate: float, i: int) -> float:
        contact_s = 10.0 + 20.0 / rate
        mu = math.tan(math.radians(20.0)) * (1.0 + 0.02 * math.log10(contact_s / 30.0))
        return math.degrees(math.atan(mu)) + 1e-3 * (i % 2)

    study = only(made(base, aged, dwell_s=10.0))
    assert study.slope_deg == pytest.approx(2.0 * study.ageing_slope_deg, rel=0.05)
    assert study.slope_deg < -0.1
    at = next(one for one in study.rates if one.rate_deg_s == 1.0)
    # The allowance covers it, and is the root mean square of its range.
    assert at.u_ageing_deg == pytest.approx(
        AGEING_PCT * abs(study.ageing_slope_deg) / math.sqrt(3.0)
    )
    assert any("Contact ageing can bend" in word for word in study_words(study))
    rested = only(made(base, aged, dwell_s=300.0))
    assert rested.rates[1].u_ageing_deg < 0.2 * at.u_ageing_deg


def test_what_is_no_study(base: RunAnalysis) -> None:
    line = noisy(0.2, 0.1, 6)
    assert rate_studies(made(base, line, rates=(0.25, 3.0))) == []
    assert rate_studies(made(base, line, repeat=2)) == []
    # Each rate in a series of its own: rate and mounting can't be told apart.
    assert rate_studies(made(base, line, series=lambda rate, i: str(rate))) == []
    two = made(base, line, series=lambda rate, i: str(i % 2))
    assert only(two).n_series == 2


def test_levels_of_series_do_not_enter_the_slope(base: RunAnalysis) -> None:
    line = noisy(0.2, 0.02, 7)
    runs = made(base, lambda r, i: line(r, i) + 2.0 * (i % 2), series=lambda rate, i: str(i % 2))
    study = only(runs)
    assert study.slope_deg == pytest.approx(0.2, abs=4 * study.u_slope_deg)
    assert study.u_slope_deg < 0.01
    assert study.intercept_deg == pytest.approx(21.0, abs=0.05)


def test_rig_analyse_shows_it(tmp_path: Path) -> None:
    scenario = draw_scenario(3, face=plain_face(0.4, 0.3), law="stribeck")
    for number in range(1, 13):
        lines, truth = simulate_run(
            Settings(), scenario, 3, number=number, rate_deg_s=RATES[number % 3], dwell_s=120.0
        )
        write_run(tmp_path, lines, truth)
    result = CliRunner().invoke(app, ["analyse", str(tmp_path), "--json"])
    document = json.loads(result.stdout)
    (study,) = document["rate_studies"]
    used = {at["rate_deg_s"] for at in study["rates"] if at["used"]}
    marks = Counter(row["friction_law"] for row in document["runs"])
    assert marks["rate_study"] == 4 * len(used)
    assert study["says"][0].startswith("Rate study")
    assert "lack of fit" in CliRunner().invoke(app, ["analyse", str(tmp_path)]).stdout
