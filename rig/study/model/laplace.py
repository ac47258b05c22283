"""Modes of the outer vector, the curvature there, and the evidence that follows from both.

Slides that contradict what is believed of one scatter can be explained by another: two bags of a
model that are 10° apart, by bags that differ, by faces that do or by readings that scatter. Each
has a mode of its own then, and one shape about the first would miss the others.
"""

from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize

from rig.study.model.design import F
from rig.study.model.gradient import with_gradient
from rig.study.model.likelihood import Likelihood
from rig.study.model.priors import PRIORS

FARTHEST = 6.0
"""In prior standard deviations; a first step downhill may overshoot."""
STEP = 1e-3
"""Of the differences of gradients, in prior standard deviations."""
LEAST_CURVATURE = 0.3
"""The prior's own is 1; a saddle beside the mode must not make a proposal endlessly wide."""


FAR = 2.0
"""Prior standard deviations from which a scale at the mode is a contradiction."""
START = 3.0
"""Where another scale starts that may explain it."""
APART = 1.0
"""Least distance of two modes, in prior standard deviations."""
WORTH = 7.0
"""By how much the logarithm of a mode's evidence may lie below the first one's."""


class Laplace(NamedTuple):
    """A normal shape about the mode of the outer vector."""

    mode: F
    factor: F
    """Lower Cholesky factor of the covariance."""
    log_evidence: float


def laplace_of(likelihood: Likelihood, start: dict[str, float]) -> Laplace:
    """Find the mode.

    Args:
        likelihood: one configuration's.
        start: where to begin, by names of the outer vector; 0 for those not named.
    """

    def downhill(u: F) -> tuple[float, F]:
        value, gradient = with_gradient(likelihood, u)
        return -value, -gradient

    first = np.array([start.get(name, 0.0) for name in likelihood.names])
    found = minimize(
        downhill,
        first,
        jac=True,
        method="L-BFGS-B",
        bounds=[(-FARTHEST, FARTHEST)] * len(first),
        options={"maxiter": 80, "gtol": 1e-2},
    )
    mode = np.asarray(found.x, dtype=np.float64)
    steps = STEP * np.eye(len(mode))
    curvature = np.array(
        [
            (with_gradient(likelihood, mode - d)[1] - with_gradient(likelihood, mode + d)[1])
            / (2.0 * STEP)
            for d in steps
        ]
    )
    values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
    values = np.maximum(values, LEAST_CURVATURE)
    covariance = (vectors / values) @ vectors.T
    size = 0.5 * len(mode) * float(np.log(2.0 * np.pi)) - 0.5 * float(np.log(values).sum())
    return Laplace(mode, np.linalg.cholesky(covariance), size - float(found.fun))


def other_modes(likelihood: Likelihood, first: Laplace) -> list[Laplace]:
    """Further modes, where some scale of the first one lies far from what is believed."""
    scales = [i for i, line in enumerate(likelihood.lines) if PRIORS[line].form == "scale"]
    if not any(first.mode[i] > FAR for i in scales):
        return []
    found = [first]
    for i in scales:
        one = laplace_of(likelihood, {likelihood.names[i]: START})
        is_new = all(np.linalg.norm(one.mode - other.mode) > APART for other in found)
        if is_new and one.log_evidence > first.log_evidence - WORTH:
            found.append(one)
    return found[1:]
