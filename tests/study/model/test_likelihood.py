from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import multivariate_normal

from rig.study.model.data import ModelData, Series, model_data
from rig.study.model.design import design_of
from rig.study.model.gradient import with_gradient
from rig.study.model.likelihood import Likelihood
from rig.study.model.posterior import LINEAR, NULL, SATURATING
from rig.study.slides.slide import Slide
from tests.study.model.example import slides_of

CONFIGURATIONS = [(NULL, NULL), (LINEAR, NULL), (SATURATING, LINEAR), (SATURATING, SATURATING)]


def _slides(*, is_known: bool = True) -> list[Slide]:
    """Two faces, boards and instruments, two recipes, three sessions; unequal numbers of slides.

    Args:
        is_known: whence the bags came, in the first two sessions.
    """
    dry: dict[str, Any] = {"approach": "from_dry" if is_known else "unknown"}
    wet: dict[str, Any] = {"approach": "from_damp" if is_known else "unknown"}
    return [
        *slides_of("A", "s1", [24.1, 23.8, 23.7], humidity=44.0, **dry),
        *slides_of("A", "s1", [27.0, 27.4], face="grip", humidity=44.0, **dry),
        *slides_of("B", "s1", [25.0, 24.9, 25.3, 25.1], board="pine", humidity=44.0, **dry),
        *slides_of("C", "s1", [23.0, 22.1], reader="ann", humidity=44.0, model="dunlin", **dry),
        *slides_of(
            "A", "s2", [22.4, 22.0], treated=["soak"], before=3, humidity=52.0, day=2, **wet
        ),
        *slides_of("B", "s2", [23.9], treated=["wash"], before=4, humidity=52.0, day=2, **wet),
        *slides_of("A", "s3", [21.0, 21.2, 20.7], treated=["soak", "wash"], before=5, day=3),
        *slides_of("C", "s3", [22.8, 22.6], reader="ann", before=2, model="dunlin", day=3),
    ]


def _direct(data: ModelData, slides: list[Slide], values: dict[str, float], kinds: dict[str, int]):
    """Log density of all slides, from the covariance of each pair of them, term by term."""
    series: dict[object, Series] = {}
    for one in data.series:
        key = (one.session, one.bag, one.face, one.board, one.instrument)
        series[key] = one
    rows = [
        series[
            s.session,
            s.bag,
            s.face,
            s.board,
            f"reader {s.reader}" if s.reader else f"rig {s.rig}",
        ]
        for s in slides
    ]
    n = len(slides)
    mean, cov = np.full(n, 24.0), np.zeros((n, n))
    dose = np.zeros(n)
    for i, row in enumerate(rows):
        dose[i] = values.get("slide_dose", 0.0) * row.state.slides
        for a in row.state.applications:
            recipe = data.applications[a].recipe
            dose[i] += values.get(f"dose {recipe}", 0.0) * (kinds[recipe] == SATURATING)
    taken = values["range"] * (1.0 - np.exp(-dose))
    mean -= taken
    for i, p in enumerate(rows):
        for j, q in enumerate(rows):
            mf = (p.model, p.face) == (q.model, q.face)
            came = [one.damp - 0.5 for one in (p, q)]
            shift = values.get("damp_shift", 0.0)
            felt = [
                (r.humidity_pct - 50.0) / 10.0 + shift * d
                for r, d in zip((p, q), came, strict=True)
            ]
            c = 64.0 * mf + (0.5**2 + 0.25**2 * mf) * felt[0] * felt[1]
            c += 0.3**2 * mf * came[0] * came[1]
            c += 0.3**2 * (came == [0.0, 0.0] and p.session == q.session and "damp_shift" in values)
            c += values["bag"] ** 2 * (p.bag == q.bag)
            c += values["bag_face"] ** 2 * ((p.bag, p.face) == (q.bag, q.face))
            c += values["session"] ** 2 * (p.session == q.session)
            if p.board == q.board == "pine":
                c += 1.0 + 0.3**2 * (p.face == q.face)
            if p.by_hand and q.by_hand:
                c += 0.7**2
            fresh = [1.0 / (s.slide_number or 0) - 1.0 / 3.0 for s in (slides[i], slides[j])]
            c += 0.3**2 * fresh[0] * fresh[1]
            c += values["series"] ** 2 * (p is q)
            c += values["reader_run" if p.by_hand else "run"] ** 2 * (i == j)
            soiled = [1.0 - np.exp(-one.residue_slides / 10.0) for one in (p, q)]
            c += 0.2**2 * soiled[0] * soiled[1] * ((p.session, p.board) == (q.session, q.board))
            c += 0.4**2 * taken[i] * taken[j] * mf
            had = [[data.applications[a] for a in one.state.applications] for one in (p, q)]
            for recipe, kind in kinds.items():
                times = [sum(one.recipe == recipe for one in h) for h in had]
                if kind == LINEAR:
                    c += (2.0**2 + 0.8**2 * mf) * times[0] * times[1]
                if kind != NULL:
                    last = [bool(h) and h[-1].recipe == recipe for h in had]
                    wear = np.exp(-(p.state.since + q.state.since) / 20.0)
                    c += 0.3**2 * last[0] * last[1] * wear
                for done in set(had[0]) & set(had[1]):
                    if done.recipe != recipe or kind == NULL:
                        continue
                    each = 1.0
                    if kind == SATURATING:
                        left = values["range"] ** 2 * np.exp(-dose[i] - dose[j])
                        each = left * (values[f"dose {recipe}"] / 1.5) ** 2
                    c += each * values["response"] ** 2
            cov[i, j] = c
    angles = np.array([s.onset_angle_deg or 0.0 for s in slides])
    return multivariate_normal.logpdf(angles, mean, cov)


@pytest.mark.parametrize("is_known", [True, False])
@pytest.mark.parametrize("configuration", CONFIGURATIONS)
def test_density_is_that_of_all_slides_with_their_full_covariance(configuration, is_known) -> None:
    slides = _slides(is_known=is_known)
    data = model_data(slides)
    design = design_of(data)
    likelihood = Likelihood(design, configuration)
    kinds = dict(zip(design.recipes, configuration, strict=True))
    rng = np.random.default_rng(1)
    found, direct = [], []
    for _ in range(4):
        u = rng.normal(size=len(likelihood.names)) * 0.7
        prior = -0.5 * float(u @ u) - 0.5 * len(u) * np.log(2.0 * np.pi)
        found.append(likelihood.at(u).log_density - prior)
        direct.append(_direct(data, slides, likelihood.values(u), kinds))
    off = np.subtract(found, direct)
    assert_allclose(off, _constant(data), atol=1e-6)


def _constant(data: ModelData) -> float:
    """What the reduction to means leaves out, whatever the scales and the configuration."""
    n = sum(row.n for row in data.series)
    constant = 0.5 * n * np.log(2.0 * np.pi)
    return constant + 0.5 * sum(np.log(row.n) for row in data.series)


@pytest.mark.parametrize("configuration", CONFIGURATIONS)
def test_gradient_is_that_of_differences(configuration) -> None:
    likelihood = Likelihood(design_of(model_data(_slides())), configuration)
    u = np.random.default_rng(2).normal(size=len(likelihood.names)) * 0.5
    _, gradient = with_gradient(likelihood, u)
    steps = 1e-5 * np.eye(len(u))
    differences = [
        (likelihood.at(u + d).log_density - likelihood.at(u - d).log_density) / 2e-5 for d in steps
    ]
    assert_allclose(gradient, differences, atol=1e-5)


@pytest.mark.parametrize("far", [5.9, 7.0])
def test_scales_that_are_far_apart_are_worth_little_but_no_error(far: float) -> None:
    likelihood = Likelihood(design_of(model_data(_slides())), (SATURATING, LINEAR))
    u = np.array(
        [far if name in ("bag", "session", "range") else -far for name in likelihood.names]
    )
    usual = likelihood.at(np.zeros(len(u))).log_density
    assert likelihood.at(u).log_density < usual - 50.0
