"""Other studies beside one's own, against all slides of both in one piece of linear algebra."""

from typing import NamedTuple

import numpy as np
from numpy.testing import assert_allclose
from scipy.special import ndtri
from scipy.stats import multivariate_normal

from rig.study.model.data import Facts, ModelData, model_data
from rig.study.model.design import F, Key, design_of
from rig.study.model.fit import fit
from rig.study.model.gradient import with_gradient
from rig.study.model.history import Played
from rig.study.model.importance import Lattice
from rig.study.model.likelihood import Likelihood
from rig.study.model.others import SHARED, Bound, with_others
from rig.study.model.reduction import COMMON_SCALES, League, OtherStudy, reduced
from tests.study.model.example import slides_of

OWN = [
    *slides_of("A", "s1", [24.0, 24.2], humidity=40.0),
    *slides_of("T", "s1", [22.9, 23.2, 23.1], humidity=40.0),
    *slides_of("A", "s2", [24.6, 24.3], humidity=60.0, before=2, day=2),
]
THEIRS = [
    *slides_of("X", "s1", [26.0, 26.3], board="pine", humidity=45.0, rig="two"),
    *slides_of(f"{SHARED}T", "s1", [24.5, 24.2], board="pine", humidity=45.0, rig="two"),
    *slides_of("X", "s2", [25.2, 25.5], board="pine", humidity=70.0, rig="two", before=2, day=2),
    *slides_of(f"{SHARED}T", "s2", [23.4], board="pine", humidity=70.0, rig="two", before=2, day=2),
]
THIRD = [
    *slides_of("Y", "s1", [21.0, 21.3], board="oak", humidity=50.0, rig="three"),
    *slides_of(f"{SHARED}T", "s1", [22.5], board="oak", humidity=50.0, rig="three"),
    *slides_of("Y", "s2", [20.2, 20.5], board="oak", humidity=65.0, rig="three", before=2, day=2),
]
LEAGUE = League([OtherStudy(model_data(slides)) for slides in (THEIRS, THIRD)])
BOUND = reduced([model_data(THEIRS), model_data(THIRD)])._replace(aliases={f"{SHARED}T": "T"})


class Dense(NamedTuple):
    """Rows of series, and of what settles within them, with all terms as they are named there."""

    rows: list[dict[Key, float]]
    rest: list[float]
    variance: list[float]
    sd: dict[Key, float]
    log: float
    """What the scatter within series says of the scale of slides."""


def dense(likelihood: Likelihood, u: F) -> Dense:
    point, parts = likelihood.solve(u)
    keys = [likelihood.design.keys[i] for i in likelihood.active]
    rows = [dict(zip(keys, row.tolist(), strict=True)) for row in parts.xs / point.sd]
    n, squares, sxx, sxy = likelihood.design.within[0]
    of_run = parts.values["run"] ** 2
    return Dense(
        rows=[*rows, {("settle",): 1.0}],
        rest=[*(parts.rest / parts.root).tolist(), sxy / sxx],
        variance=[*parts.variance.tolist(), of_run / sxx],
        sd=dict(zip(keys, point.sd.tolist(), strict=True)),
        log=float(-0.5 * (n - 1) * np.log(of_run) - 0.5 * (squares - sxy**2 / sxx) / of_run),
    )


def named(key: Key, study: OtherStudy, number: int) -> Key:
    """The key of a term that is common, or one of the study's own."""
    common = {term.key for term in study.terms} - {("level", "heron", "slick")}
    return key if key in common else ("theirs", str(number), *key)


def test_scales_are_as_likely_as_all_slides_together_make_them() -> None:
    """Against the density of all slides as one normal vector."""

    def direct(point: F) -> float:
        parts = [
            dense(one.likelihood, one.outer(LEAGUE.all_at(point[None, :])[0]))
            for one in LEAGUE.studies
        ]
        sd: dict[Key, float] = {}
        rows: list[dict[Key, float]] = []
        for number, (one, study) in enumerate(zip(parts, LEAGUE.studies, strict=True)):
            sd |= {named(key, study, number): value for key, value in one.sd.items()}
            rows += [{named(k, study, number): v for k, v in row.items()} for row in one.rows]
        keys = list(sd)
        x = np.array([[row.get(key, 0.0) for key in keys] for row in rows])
        scaled = x * np.array(list(sd.values()))
        variance = np.concatenate([one.variance for one in parts])
        rest = np.concatenate([one.rest for one in parts])
        normal = multivariate_normal(cov=scaled @ scaled.T + np.diag(variance))
        prior = -0.5 * float(point @ point)
        return float(normal.logpdf(rest)) + sum(one.log for one in parts) + prior

    n = len(LEAGUE.scales)
    one, other = np.linspace(-0.8, 0.7, n), np.linspace(0.9, -0.3, n)
    found = LEAGUE.log_density(np.array([one, other]))
    assert_allclose(found[0] - found[1], direct(one) - direct(other), rtol=1e-7)


def test_the_posterior_is_that_of_all_slides_together() -> None:
    """At fixed scales both ways are exact, so they must agree to rounding."""
    at = np.linspace(-0.3, 0.4, len(LEAGUE.scales))
    bound = LEAGUE.bound(at[None, :], np.ones(1))._replace(aliases={f"{SHARED}T": "T"})
    own = with_others(design_of(model_data(OWN)), bound._replace(scales={}), 0)
    likelihood = Likelihood(own, ())
    u = np.linspace(-0.4, 0.5, len(likelihood.names))
    point = likelihood.at(u)
    found = dict(zip((own.keys[i] for i in likelihood.active), point.mean * point.sd, strict=True))

    alone = Likelihood(design_of(model_data(OWN)), ())
    places = [likelihood.names.index(name) for name in alone.names]
    mine = dense(alone, u[places])
    rows, rest, variance = [*mine.rows], [*mine.rest], [*mine.variance]
    sd = dict(zip((own.keys[i] for i in likelihood.active), point.sd, strict=True))
    for number, study in enumerate(LEAGUE.studies):
        told = dense(study.likelihood, study.outer(LEAGUE.all_at(at[None, :])[0]))
        # A shared bag's scatter is the own study's; what a study alone has keeps its own.
        sd |= {named(key, study, number): v for key, v in told.sd.items() if key not in sd}
        sd |= {("theirs", str(number), *key): v for key, v in told.sd.items()}
        rest, variance = [*rest, *told.rest], [*variance, *told.variance]
        board, *_ = study.terms[0].usual or study.likelihood.design.usual
        rig = study.likelihood.design.usual.instrument
        for row in told.rows:
            entries: dict[Key, float] = {}
            for key, value in row.items():
                if key[0] == "level":
                    entries[key] = value
                    for name, sign in ((board, value), ("board", -value)):
                        entries["board", name] = entries["board_face", name, "slick"] = sign
                    entries["rigs", rig], entries["rigs", "rig one"] = value, -value
                elif key[0] in ("bag", "bag_face") and key[1] == f"{SHARED}T":
                    entries[key[0], "T", *key[2:]] = value
                else:
                    entries[named(key, study, number)] = value
            rows.append(entries)
    keys = list(sd)
    x = np.array([[row.get(key, 0.0) for key in keys] for row in rows])
    weight = 1.0 / np.array(variance)
    precision = x.T @ (x * weight[:, None]) + np.diag(1.0 / np.array(list(sd.values())) ** 2)
    both = np.linalg.solve(precision, x.T @ (weight * np.array(rest)))
    direct = dict(zip(keys, both, strict=True))
    for key, value in found.items():
        assert_allclose(value, direct[key], atol=1e-6, err_msg=str(key))


def test_what_they_threw_is_left_open() -> None:
    """Against thousands of doses of wear, weighted by how well they explain the slides."""
    slides = [
        *slides_of("X", "s1", [26.0, 26.3], humidity=40.0),
        *slides_of("X", "s2", [25.2, 25.5], humidity=60.0, before=2, day=3),
    ]
    thrown = Facts(plays=(Played("X", "2026-03-02T12:00:00Z", 600),))
    study = OtherStudy(model_data(slides, thrown))
    exact = Likelihood(design_of(model_data(slides, thrown)), ())
    wear = [i for i, name in enumerate(exact.names) if name not in COMMON_SCALES]
    u = np.tile(study.mode, (1000, 1))
    u[:, wear] = ndtri(Lattice(len(wear), np.random.default_rng(3)).next(len(u)))
    found = [slope_in(exact, one) for one in u]
    means, sds, logs = np.array(found).T
    weights = np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum()
    wide = np.sqrt(weights @ (sds**2 + (means - weights @ means) ** 2))
    assert_allclose(slope_in(study.likelihood, study.mode)[1], wide, rtol=0.1)
    assert slope_in(exact, study.mode)[1] < 0.93 * wide


def slope_in(likelihood: Likelihood, u: F) -> tuple[float, float, float]:
    """Mean and standard deviation of the slope, and how likely the slides are, at a point."""
    point = likelihood.at(u)
    place = likelihood.active.tolist().index(likelihood.design.keys.index(("slope",)))
    variance = np.linalg.inv(point.factor @ point.factor.T)[place, place]
    sd = float(point.sd[place])
    log = point.log_density + 0.5 * float(u @ u)
    return float(point.mean[place]) * sd, float(variance) ** 0.5 * sd, log


def test_studies_that_agree_in_a_slope_say_how_little_sessions_scatter() -> None:
    rng = np.random.default_rng(5)

    def study(number: int, change: float) -> ModelData:
        first, second = (0.2 * rng.standard_normal((2, 3)) + 24.0).tolist()
        later = [angle + change for angle in second]
        return model_data(
            slides_of("X", "s1", first, rig=f"{number}", humidity=40.0)
            + slides_of("X", "s2", later, rig=f"{number}", humidity=60.0, before=3, day=2)
        )

    same = reduced([study(number, 0.8) for number in range(6)])
    apart = reduced([study(number, 0.8 + 0.8 * (-1) ** number) for number in range(6)])
    assert same.scales["session"][0] < -0.25
    assert apart.scales["session"][0] > 0.25


def test_the_gradient_is_that_of_the_density() -> None:
    likelihood = Likelihood(with_others(design_of(model_data(OWN)), BOUND, 0), ())
    u = np.linspace(-0.5, 0.5, len(likelihood.names))
    steps = 1e-5 * np.eye(len(u))
    density = np.array([likelihood.at(u + d).log_density for d in steps])
    density -= [likelihood.at(u - d).log_density for d in steps]
    assert_allclose(with_gradient(likelihood, u)[1], density / 2e-5, rtol=1e-4, atol=1e-4)


def test_nothing_of_others_changes_nothing() -> None:
    design = design_of(model_data(OWN))
    assert with_others(design, Bound(), 0) is design


def test_more_is_known_of_the_slope_and_where_a_rig_lies() -> None:
    alone, both = fit(model_data(OWN)), fit(model_data(OWN), bound=BOUND)
    assert np.std(both.slope("heron", "slick")) < 0.9 * np.std(alone.slope("heron", "slick"))
    # The same bag slides 1° later there, where rig and board cannot be told apart.
    offset = both.instrument_offset("rig two")
    together = offset + both.board_offset("pine", "slick") - both.board_offset("board", "slick")
    assert 0.4 < np.median(together) < 1.6
    assert np.std(offset) < np.std(both.scale("rigs") * 2.0**0.5 * np.random.default_rng(1).normal(
        size=both.n
    ))  # fmt: skip
    assert np.all(alone.instrument_offset("rig one") == 0.0)


def test_scales_take_the_others_for_their_prior() -> None:
    centre, spread = BOUND.scales["run"]
    assert spread < 1.0
    assert "reader_run" not in BOUND.scales
    twice = reduced([model_data(THEIRS), model_data(THEIRS)]).scales["run"]
    once = reduced([model_data(THEIRS)]).scales["run"]
    assert twice[1] < once[1]
    assert abs(twice[0]) > abs(once[0])
    design = with_others(design_of(model_data(OWN)), BOUND, 0)
    assert design.scale_priors["run"] == (centre, spread)


def test_bags_that_nobody_named_as_shared_stay_apart() -> None:
    unshared = [
        *slides_of("T", "s1", [24.5, 24.2], board="pine", rig="two"),
        *slides_of("X", "s1", [26.0, 26.3], board="pine", rig="two"),
    ]
    keys = reduced([model_data(unshared)]).keys
    assert {key[0] for key in keys} <= {"level", "slope", "slope_face", "temperature"}


def test_a_shared_bag_that_they_treated_is_no_link() -> None:
    treated = [
        *slides_of(f"{SHARED}T", "s1", [24.5], board="pine", rig="two"),
        *slides_of(f"{SHARED}T", "s2", [23.0], board="pine", treated=["soak"], before=1, day=2),
    ]
    bound = reduced([model_data(treated)])
    assert not any(key[0] == "bag" for key in bound.keys)
    assert "session" in bound.scales
    assert "response" not in bound.scales  # their recipes are their own


def test_the_same_rig_and_board_need_no_offset() -> None:
    same = [*slides_of("X", "s1", [26.0, 26.3]), *slides_of("Y", "s1", [25.0, 25.1])]
    design = with_others(design_of(model_data(OWN)), reduced([model_data(same)]), 0)
    assert not any(key[0] in ("rigs", "board") for key in design.keys)


def test_the_same_operator_is_known_on_two_rigs() -> None:
    """Anna works the other rig alone, and her angles beside Bert's tell what is hers."""
    own = [
        *slides_of("A", "s1", [24.0, 24.2, 24.1], operator="Bert"),
        *slides_of("T", "s1", [23.0, 23.2, 23.1], operator="Bert"),
        *slides_of("A", "s2", [24.5, 24.6], day=2, before=3, operator="Anna"),
    ]
    theirs = [
        *slides_of(f"{SHARED}T", "s1", [23.6, 23.7], rig="two", operator="person 1"),
        *slides_of("X", "s1", [25.0, 25.2], rig="two", operator="person 1"),
    ]
    bound = reduced([model_data(theirs)])
    (usual,) = set(bound.usual) - {None}
    assert usual is not None
    assert usual.operator == "person 1"
    stranger = bound._replace(aliases={f"{SHARED}T": "T"})
    known = stranger._replace(instruments={"operator Anna": "operator person 1"})

    def columns(bound: Bound) -> set[str]:
        design = with_others(design_of(model_data(own)), bound, 0)
        return {key[1] for key in design.keys if key[0] == "operator"}

    assert columns(stranger) == {"Anna", "Bert", "person 1"}
    rows, _ = stranger.rows(design_of(model_data(own)))
    theirs_less_own = [(row["operator", "person 1"], -row["operator", "Bert"]) for row in rows]
    assert any(one for one, _ in theirs_less_own)
    assert all(one == other for one, other in theirs_less_own)
    assert columns(known) == {"Anna"}
    alone, both = fit(model_data(own)), fit(model_data(own), bound=known)
    assert both.about.operator == "Bert"
    before, after = alone.operator_offset("Anna"), both.operator_offset("Anna")
    assert 0.0 < np.median(before) < np.median(after)


def test_operators_of_one_rig_are_told_apart() -> None:
    """Against a study of which the operators are known to differ by 0.3°."""
    slides = [
        one
        for day in range(1, 7)
        for bag in ("A", "B", "C")
        for one in slides_of(
            bag, f"s{day}", [24.0 + 0.3 * (day % 2) + 0.02 * k for k in range(3)],
            day=day, before=3 * day, operator=("Bert", "Anna")[day % 2],
        )
    ]  # fmt: skip
    data = model_data(slides)
    found = fit(data)
    assert {one.operator for one in data.series} == {"Anna", "Bert"}
    assert found.about.operator == "Anna"
    assert -0.3 < np.median(found.operator_offset("Bert")) < -0.05
