"""Two bags of a model that are 11° apart: do bags differ, their faces, or do readings scatter?"""

import numpy as np
import pytest

from rig.study.model.configurations import candidates
from rig.study.model.data import ModelData, model_data
from rig.study.model.design import design_of
from rig.study.model.fit import fit
from rig.study.model.laplace import laplace_of, other_modes
from rig.study.model.likelihood import Likelihood
from rig.study.model.priors import value_at
from tests.study.model.example import slides_of

FAR = 1.5
"""Prior standard deviations."""


def two_bags(apart_deg: float) -> ModelData:
    one = slides_of("A", "s1", [20.0173], reader="ann")
    return model_data([*one, *slides_of("B", "s1", [20.0173 + apart_deg], reader="ann")])


def test_each_explanation_has_a_mode_of_its_own() -> None:
    likelihood = Likelihood(design_of(two_bags(11.2)), ())
    first = laplace_of(likelihood, {})
    far = [
        [n for n, z in zip(likelihood.names, one.mode, strict=True) if z > FAR]
        for one in (first, *other_modes(likelihood, first))
    ]
    assert far == [["bag"], ["reader_run"], ["series"], ["bag_face"]]
    (candidate,) = candidates(design_of(two_bags(11.2)))
    assert len(candidate.shapes) == 4


def test_bags_that_are_as_believed_have_one_mode() -> None:
    likelihood = Likelihood(design_of(two_bags(1.2)), ())
    assert not other_modes(likelihood, laplace_of(likelihood, {}))


@pytest.mark.parametrize("seed", [1, 2])
def test_chances_of_each_explanation_are_as_by_draws_from_the_prior(seed: int) -> None:
    """Slow and simple: points drawn from the prior, weighed by how likely they make the slides."""
    data = two_bags(11.2)
    likelihood = Likelihood(design_of(data), ())
    rng = np.random.default_rng(7)
    u = rng.standard_normal((8000, len(likelihood.names)))
    log_weights = np.array([likelihood.solve(one)[0].log_density for one in u])
    log_weights += 0.5 * (u**2).sum(axis=1)
    weights = np.exp(log_weights - log_weights.max())
    by_prior = dict(zip(likelihood.names, weights / weights.sum() @ (u > FAR), strict=True))
    draws = fit(data, seed)
    assert draws.quality.pareto_k < 0.7
    for name, chance in by_prior.items():
        assert np.mean(draws.values[name] > value_at(name, FAR)) == pytest.approx(chance, abs=0.06)
    assert by_prior["reader_run"] > 0.15, "a third of the chance lies outside the first mode"
