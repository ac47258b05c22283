"""The whole fit against brute force: many points of the prior, the rest by 2 × 2 matrices."""

import numpy as np
import pytest

from rig.study.model.data import model_data
from rig.study.model.fit import fit
from tests.study.model.example import slides_of

N = 300_000
BEFORE, AFTER = np.array([24.3, 24.0, 23.9]), np.array([22.9, 22.4, 22.6])
FRESH = 1.0 / np.arange(1.0, 4.0) - 1.0 / 3.0


def _brute_force() -> tuple[list[float], float, float]:
    """Chances of nothing, linear and saturating, and mean and sd of the effect.

    The model's formula is written out once more for one bag before and after one application. The
    scales, the doses and the settling are drawn; level, session, deviations and effect are normal.
    """
    z = np.random.default_rng(5).normal(size=(10, N))

    def scale(i: int, median: float, spread: float) -> np.ndarray:
        return median * np.exp(spread * np.sinh(0.5 * z[i]) / 0.5)

    run, series, session = scale(0, 0.25, 0.6), scale(1, 0.2, 0.5), scale(2, 0.4, 0.5)
    bag, face, response = scale(3, 1.0, 0.5), scale(4, 0.5, 0.5), scale(5, 0.35, 0.5)
    full, wear = 4.0 * np.exp(0.5 * z[6]), 0.0005 * np.exp(z[7])
    dose, settle = 0.4 * np.exp(0.8 * z[8]), 0.3 * z[9]
    settled = [y[:, None] - FRESH[:, None] * settle for y in (BEFORE, AFTER)]
    m1, m2 = (y.mean(axis=0) for y in settled)
    squares = sum(((y - y.mean(axis=0)) ** 2).sum(axis=0) for y in settled)
    within = -0.5 * squares / run**2 - 4.0 * np.log(run)
    common = 64.0 + bag**2 + face**2
    each = session**2 + series**2 + run**2 / 3.0
    soiled, wash = 0.2 * (1.0 - np.exp(-0.1)), 0.3
    left = wash * np.exp(-1.0 / 20.0)
    density, means, squares_of = [], [], []
    for kind in ("nothing", "linear", "saturates"):
        r = dose if kind == "saturates" else 0.0 * dose
        taken = [full * -np.expm1(-wear), full * -np.expm1(-r - 4.0 * wear)]
        off1, off2 = m1 - 24.0 + taken[0], m2 - 24.0 + taken[1]
        c11 = common + each + 0.16 * taken[0] ** 2
        c12 = common + 0.16 * taken[0] * taken[1]
        c22 = common + each + soiled**2 + 0.16 * taken[1] ** 2
        mean, var, e1, e2 = 0.0 * dose, 0.0 * dose, 0.0 * dose, 0.0 * dose
        if kind == "linear":
            c22 = c22 + 4.0 + 0.64 + response**2 + left**2
            var = var + 4.0 + 0.64 + wash**2
            e2 = 4.0 + 0.64 + wash * left
        if kind == "saturates":
            own = full * np.exp(-r - 4.0 * wear) * r * response / 1.5
            c22 = c22 + own**2 + left**2
            first = full * -np.expm1(-r)
            mean, var = -first, 0.16 * first**2 + wash**2
            e1, e2 = 0.16 * first * taken[0], 0.16 * first * taken[1] + wash * left
        det = c11 * c22 - c12**2
        q1, q2 = (c22 * off1 - c12 * off2) / det, (c11 * off2 - c12 * off1) / det
        density.append(within - 0.5 * (off1 * q1 + off2 * q2) - 0.5 * np.log(det))
        means.append(mean + e1 * q1 + e2 * q2)
        explained = (e1**2 * c22 - 2.0 * e1 * e2 * c12 + e2**2 * c11) / det
        squares_of.append(var - explained + means[-1] ** 2)
    weights = np.exp(np.array(density) - np.max(density))
    weights /= weights.sum()
    mean = float((weights * means).sum())
    sd = float(np.sqrt((weights * squares_of).sum() - mean**2))
    return weights.sum(axis=1).tolist(), mean, sd


def test_one_bag_before_and_after_is_as_brute_force_has_it() -> None:
    slides = [
        *slides_of("A", "s1", BEFORE.tolist()),
        *slides_of("A", "s2", AFTER.tolist(), treated=["soak"], before=3, day=2),
    ]
    draws = fit(model_data(slides))
    kinds, mean, sd = _brute_force()
    assert draws.kinds("soak") == pytest.approx(tuple(kinds), abs=0.02)
    effect = draws.effect("soak", "heron", "slick")
    assert float(np.mean(effect)) == pytest.approx(mean, abs=0.05 * sd)
    assert float(np.std(effect)) == pytest.approx(sd, rel=0.05)
