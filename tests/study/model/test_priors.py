import numpy as np
import pytest

from rig.study.model.priors import PRIORS, log_slope, scalar_at, value_at


@pytest.mark.parametrize("name", PRIORS)
def test_a_line_says_what_why_and_on_what_ground(name: str) -> None:
    prior = PRIORS[name]
    assert len(prior.reason) > 15
    assert prior.basis in ("judged", "common practice, no source", "handbook, from memory")
    assert prior.spread > 0.0
    assert float(value_at(name, 0.0)) == prior.centre == scalar_at(name, 0.0)
    z = np.array([-9.0, -1.3, 0.4, 2.0])
    np.testing.assert_allclose(value_at(name, z), [scalar_at(name, float(one)) for one in z])
    if prior.form != "normal":
        step = (np.log(scalar_at(name, 1.2 + 1e-6)) - np.log(scalar_at(name, 1.2 - 1e-6))) / 2e-6
        assert log_slope(name, 1.2) == pytest.approx(step, rel=1e-6)


def test_scales_have_heavy_tails_and_doses_have_none() -> None:
    bag = PRIORS["bag"]
    assert scalar_at("bag", 3.0) > bag.centre * np.exp(4.0 * bag.spread)
    assert scalar_at("bag", 1.0) == pytest.approx(bag.centre * np.exp(1.04 * bag.spread), rel=0.01)
    dose = PRIORS["dose"]
    assert scalar_at("dose", 3.0) == pytest.approx(dose.centre * np.exp(3.0 * dose.spread))
