"""The gradient of the log density: the mean over the linear terms of the complete density's.

This is Fisher's identity: the gradient of a log marginal density is the mean, over what was
integrated out, of the gradient of the joint one.
"""

import numpy as np
from scipy.linalg import lapack

from rig.study.model.design import Design, F, I
from rig.study.model.likelihood import RUNS, Likelihood, Parts, Point
from rig.study.model.priors import log_slope


def with_gradient(likelihood: Likelihood, u: F) -> tuple[float, F]:
    """The log density at a point of the outer vector, and its gradient."""
    point, parts = likelihood.solve(u)
    return point.log_density, _Gradient(likelihood, u, point, parts).all()


class _Gradient:
    """The gradient at a point."""

    def __init__(self, of: Likelihood, u: F, point: Point, parts: Parts) -> None:
        self.of, self.u, self.point, self.parts = of, u, point, parts
        inverse, _ = lapack.dpotri(point.factor, lower=1)
        low = np.tril(inverse)
        self.covariance = low + np.tril(low, -1).T
        self.spread = parts.xw @ self.covariance
        self.left = parts.rest - parts.xw @ point.mean

    def all(self) -> F:
        of, parts, mean = self.of, self.parts, self.point.mean
        design, values = of.design, parts.values
        by_log = dict.fromkeys(of.names, 0.0)
        second = mean**2 + np.diagonal(self.covariance)
        for place, columns in of.scaled:
            by_log[of.names[place]] += float((second[columns] - 1.0).sum())
        leverage = (self.spread * parts.xw).sum(axis=1)
        by_variance = 0.5 * (self.left**2 + leverage - 1.0) / parts.variance
        k = of.settle
        sd = self.point.sd[k]
        for rows, name, sums in zip(of.by_noise, RUNS, design.within, strict=True):
            if name in values:
                of_run = values[name] ** 2
                squares = sums[1] - 2.0 * sd * mean[k] * sums[3] + sd**2 * second[k] * sums[2]
                own = 2.0 * of_run * float((by_variance[rows] / design.n[rows]).sum())
                by_log[name] += own + float(squares / of_run - sums[0])
                by_log["series"] += 2.0 * values["series"] ** 2 * float(by_variance[rows].sum())
        if of.nonlinear.size:
            self._add_doses(by_log)
        if of.damp_entries is not None:
            entries = values["damp_shift"] * of.damp_entries * self.point.sd[of.slope_columns]
            none = np.zeros(len(self.left))
            by_log["damp_shift"] += self._along(none, entries, of.slope_columns)
        slopes = [log_slope(line, z) for line, z in zip(of.lines, self.u.tolist(), strict=True)]
        by_prior = (self.u - of.centre) / of.spread**2
        return np.asarray(np.array(list(by_log.values())) * np.array(slopes) - by_prior)

    def _add_doses(self, by_log: dict[str, float]) -> None:
        of, parts, sd = self.of, self.parts, self.point.sd
        design, values = of.design, parts.values
        nonlinear, own = of.nonlinear, of.own
        by_log["range"] += self._along(parts.offset, parts.xs[:, nonlinear], nonlinear)
        left = -values["range"] * np.exp(-parts.dose)
        entries = parts.xs[:, of.own_columns]
        doses = [(name, 1, design.slides) for name in ("slide_dose",)]
        doses.append(("throw_dose", 1, design.throws))
        for number, recipe in enumerate(design.recipes):
            is_of = np.append(design.recipe_of == number, False)[:-1]
            doses.append((f"dose {recipe}", 0, of.saturates[:, is_of].sum(axis=1)))
        for name, is_wear, times in doses:
            if name not in values:
                continue
            step = values[name] * times
            shift = left * step
            faces = of.of_face * shift[:, None] * sd[of.range_columns]
            is_own = np.zeros(len(own)) if is_wear else _is_recipe(design, own, name)
            uneven = entries * (is_own[None, :] - step[:, None])
            by_log[name] += self._along(shift, np.hstack([faces, uneven]), nonlinear)

    def _along(self, shift: F, columns: F, which: I) -> float:
        """Mean change of the log density for a change of offsets and of some columns."""
        root = self.parts.root
        moved = shift + columns @ self.point.mean[which]
        common = float((root * self.left * moved).sum())
        return common - float((root[:, None] * self.spread[:, which] * columns).sum())


def _is_recipe(design: Design, own: I, name: str) -> F:
    recipes = [design.recipes[design.recipe_of[a]] for a in own]
    return np.array([float(f"dose {recipe}" == name) for recipe in recipes])
