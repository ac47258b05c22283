"""When a series has enough; and that no trend is seen where there is none."""

import numpy as np
import pytest

from rig.procedures.series.stop_rules import (
    RunFigures,
    SlideScatter,
    bad_in_a_row,
    figures_of,
    narrow_enough,
    trend_found,
)


def runs(mus: list[float], valid: bool = True) -> list[RunFigures]:
    return [
        RunFigures(valid, "slid", i, float(np.degrees(np.arctan(mu))), mu)
        for i, mu in enumerate(mus, start=1)
    ]


def ended_at(rule, figures: list[RunFigures]) -> int | None:  # a rule
    return next((n for n in range(1, len(figures) + 1) if rule(figures[:n])), None)


def test_narrow_enough_is_students_interval() -> None:
    # 20, 20.2, 19.8, 20.1, 19.9 °: s = 0.1581, t(4, 0.975) = 2.776 (tables of Student's t), so
    # the interval is ± 2.776 · 0.1581 / √5 = ± 0.1963.
    angles = [20.0, 20.2, 19.8, 20.1, 19.9]
    figures = [RunFigures(True, "slid", i, a, None) for i, a in enumerate(angles)]
    assert narrow_enough(0.196)(figures) is None
    assert "±0.20°" in (narrow_enough(0.197)(figures) or "")
    assert narrow_enough(10.0)(figures[:4]) is None
    assert narrow_enough(10.0)([*figures[:4], figures[4]._replace(valid=False)]) is None


def test_what_was_known_of_the_scatter_counts_as_slides_do() -> None:
    # 20, 20.2, 19.8 °: s² = 0.04 with 2 degrees of freedom. Known: 0.3° with 8. Pooled
    # s² = (8 · 0.09 + 2 · 0.04) / 10 = 0.08, t(10, 0.975) = 2.228 (tables of Student's t), so the
    # interval is ± 2.228 · √(0.08 / 3) = ± 0.3638.
    figures = [RunFigures(True, "slid", i, a, None) for i, a in enumerate([20.0, 20.2, 19.8])]
    known = SlideScatter(sd_deg=0.3, freedom=8.0)
    assert narrow_enough(0.3637, known, 3)(figures) is None
    assert "±0.36° (95 %, scatter of slides alone)" in (
        narrow_enough(0.3639, known, 3)(figures) or ""
    )
    assert narrow_enough(10.0, known, 4)(figures) is None


def test_a_series_ends_alike_whatever_the_treatment_did() -> None:
    """800 series: the same slides and the same lowered by 3° end after as many runs."""
    random = np.random.default_rng(2)
    rule = narrow_enough(0.3, SlideScatter(sd_deg=0.25, freedom=30.0), 3)
    ended = []
    for _ in range(800):
        angles = 24.0 + random.normal(0.0, 0.25, 12)
        both = [
            ended_at(
                rule, [RunFigures(True, "slid", i, a + by, None) for i, a in enumerate(angles)]
            )
            for by in (0.0, -3.0)
        ]
        assert both[0] == both[1]
        ended.append((both[0], angles[: both[0]].mean() - 24.0))
    n, off = np.array(ended).T
    # 0.25 · t(32 …, 0.975) / √n ≤ 0.3 from three slides on.
    assert n.min() == 3
    assert 3.0 < n.mean() < 4.0
    # Nominal 95 %; the binomial's three standard errors are 2.3 %.
    assert np.mean(np.abs(off) < 0.3) > 0.927


def test_bad_runs_must_be_in_a_row() -> None:
    good, bad = runs([0.4])[0], runs([0.4], valid=False)[0]
    rule = bad_in_a_row(3)
    assert rule([bad, bad]) is None
    assert rule([bad, bad, good, bad, bad]) is None
    assert rule([good, bad, bad, bad])


def test_a_bag_that_does_not_change_shows_no_trend_and_one_that_polishes_does() -> None:
    """400 series of 40 runs; scatter of 1 % as the twin's, and polishing by 3 % over the series."""
    random = np.random.default_rng(1)
    rule = trend_found()
    false_alarms = found = 0
    for _ in range(400):
        noise = random.normal(0.0, 0.01, 40)
        steady = 0.4 * (1.0 + noise)
        polishing = 0.4 * (1.0 + noise - 0.03 * np.arange(40) / 39)
        false_alarms += ended_at(rule, runs(steady.tolist())) is not None
        found += ended_at(rule, runs(polishing.tolist())) is not None
    # Seven looks at 0.1 % each: at most 2.8 in 400 on average.
    assert false_alarms <= 6
    assert found >= 390


@pytest.mark.parametrize(
    ("n", "is_looked_for"),
    [(5, False), (9, False), (10, True), (11, False), (14, False), (15, True)],
)
def test_a_trend_is_looked_for_at_every_fifth_run_from_the_tenth_on(
    n: int, is_looked_for: bool
) -> None:
    falling = runs([0.5 - 0.01 * i for i in range(n)])
    assert (trend_found()(falling) is not None) is is_looked_for
    # What is not valid, or not known, does not count.
    spoilt = [run._replace(valid=False) for run in runs([0.1])] + falling
    spoilt += [falling[0]._replace(slide_number=None), falling[0]._replace(mu_static=None)]
    assert (trend_found()(spoilt) is not None) is is_looked_for


@pytest.mark.parametrize(("p", "is_found"), [(0.00099, True), (0.001, False), (None, False)])
def test_a_trend_must_be_rarer_than_one_in_a_thousand(
    monkeypatch: pytest.MonkeyPatch, p: float | None, is_found: bool
) -> None:
    monkeypatch.setattr("rig.procedures.series.stop_rules.trend_p", lambda _: p)
    assert (trend_found()(runs([0.4] * 10)) is not None) is is_found


def test_a_run_without_an_analysis_is_a_bad_one() -> None:
    assert figures_of(None) == RunFigures(False, None, None, None, None)
    assert bad_in_a_row(1)([figures_of(None)]) is not None
