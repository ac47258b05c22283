"""Slides that are only known to lie below an angle.

Each stands in the linear part as a normal reading of its face's angle, as close as a normal shape
comes to the chance of such a slide; draws are then weighted by the exact chance over that shape. It
counts as a series of its own, which ignores that its mounting is shared with later slides.
"""

import numpy as np
from scipy.special import log_ndtr

from rig.study.model.design import HAND, Design, F
from rig.study.model.likelihood import Likelihood, Parts
from rig.study.model.posterior import LINEAR

ROUNDS = 6
LEAST_PRECISION = 1e-4
"""In 1/°²: a slide far above what it was told says nearly nothing."""


class Censoring:
    """The censored slides of a study, in the last rows of its design.

    Args:
        below_deg: what each is told to lie below, less the prior's level.
    """

    def __init__(self, below_deg: F) -> None:
        self.below_deg = below_deg
        self.n = len(below_deg)

    def fitted(self, design: Design) -> Design:
        """The design with the censored rows as normal readings."""
        if not self.n:
            return design
        first = len(design.y) - self.n
        y, variance = design.y.copy(), design.fixed_variance.copy()
        y[first:], variance[first:] = self.below_deg, 1.0 / LEAST_PRECISION
        for _ in range(ROUNDS):
            design = design._replace(y=y.copy(), fixed_variance=variance.copy())
            linear = Likelihood(design, (LINEAR,) * len(design.recipes))
            point, parts = linear.solve(np.zeros(len(linear.names)))
            means = (parts.offset + parts.xs @ point.mean)[first:]
            sd = self._sd(design, parts)
            t = (self.below_deg - means) / sd
            hazard = np.exp(-0.5 * t**2 - log_ndtr(t)) / np.sqrt(2.0 * np.pi)
            precision = np.maximum(hazard * (hazard + t) / sd**2, LEAST_PRECISION)
            y[first:], variance[first:] = means - hazard / sd / precision, 1.0 / precision
        return design._replace(y=y, fixed_variance=variance)

    def log_ratios(self, design: Design, parts: Parts, b: F) -> F:
        """Log of the exact chance over the normal shape, for draws of b in columns."""
        if not self.n:
            return np.zeros(b.shape[1])
        first = len(design.y) - self.n
        means = parts.offset[first:, None] + parts.xs[first:] @ b
        t = (self.below_deg[:, None] - means) / self._sd(design, parts)[:, None]
        off = (design.y[first:, None] - means) ** 2 / design.fixed_variance[first:, None]
        return np.asarray((log_ndtr(t) + 0.5 * off).sum(axis=0))

    def _sd(self, design: Design, parts: Parts) -> F:
        """Scatter of one slide in a series of its own."""
        run, hand = (parts.values.get(name, 0.0) for name in ("run", "reader_run"))
        own = np.where(design.noise[-self.n :] == HAND, hand, run)
        return np.asarray(np.hypot(own, parts.values["series"]))
