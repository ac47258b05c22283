"""How well scales and doses explain a study, with the linear part integrated exactly.

With y = m + X·β + noise, β normal with standard deviations s and noise variances v, let b = β/s and
A = 1 + S·XᵀV⁻¹X·S. Then b given y is normal about A⁻¹·S·XᵀV⁻¹(y − m) with covariance A⁻¹, and the
density of y follows from A's Cholesky factor (Lindley and Smith, J. R. Stat. Soc. B 34, 1, 1972).
"""

from math import log, pi
from typing import NamedTuple

import numpy as np
from scipy.linalg import lapack

from rig.errors import BadInputError
from rig.study.model.design import HAND, RIG, Configuration, Design, F
from rig.study.model.posterior import SATURATING, SCALES
from rig.study.model.priors import PRIORS, TYPICAL_EFFECT_DEG, scalar_at

RUNS = ("run", "reader_run")
"""Scale of the slides within a series, by a rig and by hand."""

ROUNDING = 1e-12
"""Relative to the largest entry; far above the rounding of 64-bit numbers."""


class Point(NamedTuple):
    """One point of the outer vector, evaluated."""

    log_density: float
    """Of data and outer vector together, up to a constant common to all configurations."""
    mean: F
    """Of b, the linear terms over their standard deviations."""
    factor: F
    """Lower Cholesky factor of A."""
    sd: F
    """Standard deviation of each column's term, a priori."""


class Likelihood:
    """One configuration of a study.

    Args:
        design: rows and columns.
        configuration: what each tested recipe does.
    """

    def __init__(self, design: Design, configuration: Configuration) -> None:
        self.design = design
        self.configuration = configuration
        self.active = design.active(configuration)
        self.names = _outer_names(design, configuration)
        """Of the outer vector."""
        self.lines = [name.split(" ")[0] for name in self.names]
        """Of the table of priors, for each name."""
        keys = [design.keys[i] for i in self.active]
        scales = [design.scale[i] for i in self.active]
        told = [design.scale_priors.get(name, (0.0, 1.0)) for name in self.names]
        self.centre, self.spread = np.array(told).reshape(-1, 2).T
        """Of the prior of the outer vector."""
        self._place = {name: i for i, name in enumerate(self.names)}
        self._x = design.columns(configuration)[:, self.active]
        self._fixed_sd = np.array([PRIORS[name].spread for name in scales])
        self.scaled = [
            (self._place[name], np.array([i for i, s in enumerate(scales) if s == name]))
            for name in dict.fromkeys(scales)
            if name in self._place
        ]
        self.settle = keys.index(("settle",))
        self.is_series = design.fixed_variance == 0.0
        self.by_noise = [self.is_series & (design.noise == g) for g in (RIG, HAND)]
        self.saturates = design.saturating(configuration)
        self._set_nonlinear(keys)

    def _set_nonlinear(self, keys: list[tuple[str, ...]]) -> None:
        """Find the columns whose entries hang on the doses."""
        design = self.design
        faces = [i for i, key in enumerate(keys) if key[0] == "range_face"]
        applications = [i for i, key in enumerate(keys) if key[0] == "application"]
        kinds = np.array([*self.configuration, -1])[design.recipe_of]
        own = [(i, int(keys[i][1])) for i in applications if kinds[int(keys[i][1])] == SATURATING]
        self.range_columns = np.array(faces, dtype=np.intp)
        self.own_columns = np.array([i for i, _ in own], dtype=np.intp)
        self.own = np.array([a for _, a in own], dtype=np.intp)
        self.nonlinear = np.concatenate([self.range_columns, self.own_columns])
        slopes = [i for i, key in enumerate(keys) if key[0] in ("slope", "slope_face")]
        self.slope_columns = np.array(slopes, dtype=np.intp)
        """Columns whose entries hang on how much damper the air counts for bags from damp."""
        self.damp_entries = self._slope_entries(keys) if design.damp.any() else None
        # Which model's face a row is of: its column of levels says so.
        levels = {key[1:]: i for i, key in enumerate(keys) if key[0] == "level"}
        self.of_face = self._x[:, [levels[keys[i][1:]] for i in faces]]

    def _slope_entries(self, keys: list[tuple[str, ...]]) -> F:
        """What a shift of 10 %RH adds to the columns of slopes."""
        levels = {key[1:]: i for i, key in enumerate(keys) if key[0] == "level"}
        is_of = [
            self._x[:, levels[keys[i][1:]]] if keys[i][1:] else np.ones(len(self._x))
            for i in self.slope_columns
        ]
        return np.asarray(np.array(is_of).T * self.design.damp[:, None])

    def at(self, u: F) -> Point:
        """Evaluate a point of the outer vector, in prior standard normals."""
        return self.solve(u)[0]

    def values(self, u: F) -> dict[str, float]:
        """Scales and doses at a point, those that don't matter here left out."""
        return {
            name: scalar_at(line, z)
            for name, line, z in zip(self.names, self.lines, u.tolist(), strict=True)
        }

    def solve(self, u: F) -> tuple[Point, "Parts"]:
        """Evaluate a point, and keep what it was computed from."""
        design, values = self.design, self.values(u)
        sd = self._fixed_sd.copy()
        for place, columns in self.scaled:
            sd[columns] = values[self.names[place]]
        variance = design.fixed_variance.copy()
        off = (u - self.centre) / self.spread
        log_density, squared = -0.5 * (float(off @ off) + len(u) * log(2.0 * pi)), 0.0
        log_density -= float(np.log(self.spread).sum())
        extra, product = 0.0, 0.0
        for rows, name, sums in zip(self.by_noise, RUNS, design.within, strict=True):
            if name in values:
                of_run = values[name] ** 2
                variance[rows] = values["series"] ** 2 + of_run / design.n[rows]
                variance[rows] += design.extra_variance[rows]
                squared += sums[1] / of_run
                log_density -= 0.5 * float(sums[0]) * float(np.log(of_run))
                extra, product = extra + sums[2] / of_run, product + sums[3] / of_run
        dose, x = self._dose(values), self._x.copy()
        offset = np.zeros(len(design.y))
        if self.damp_entries is not None:
            x[:, self.slope_columns] += values["damp_shift"] * self.damp_entries
        if self.nonlinear.size:
            offset = values["range"] * np.expm1(-dose)
            x[:, self.range_columns] = self.of_face * offset[:, None]
            x[:, self.own_columns] = self._own_entries(values, dose)
        root = 1.0 / np.sqrt(variance)
        xs = x * sd
        xw = xs * root[:, None]
        rest = (design.y - offset) * root
        a = xw.T @ xw
        a.flat[:: len(a) + 1] += 1.0
        h = xw.T @ rest
        k = self.settle
        a[k, k] += sd[k] ** 2 * extra
        h[k] += sd[k] * product
        factor = _cholesky(a)
        mean, _ = lapack.dpotrs(factor, h, lower=1)
        squared += float(rest @ rest) - float(h @ mean)
        log_density -= 0.5 * squared + 0.5 * float(np.log(variance).sum())
        log_density -= float(np.log(np.diagonal(factor)).sum())
        point = Point(log_density, mean, factor, sd)
        return point, Parts(values, variance, dose, offset, xs, xw, rest, root)

    def _dose(self, values: dict[str, float]) -> F:
        doses = np.array([values.get(f"dose {name}", 0.0) for name in self.design.recipes] + [0.0])
        each = self.saturates @ doses[self.design.recipe_of]
        each = each + values.get("slide_dose", 0.0) * self.design.slides
        return np.asarray(each + values.get("throw_dose", 0.0) * self.design.throws)

    def _own_entries(self, values: dict[str, float], dose: F) -> F:
        """What an application's own deviation of 1° adds to each row."""
        names = [f"dose {self.design.recipes[self.design.recipe_of[a]]}" for a in self.own]
        doses = np.array([values[name] for name in names])
        left = values["range"] * np.exp(-dose)
        entries = -left[:, None] * self.saturates[:, self.own] * doses / TYPICAL_EFFECT_DEG
        return np.asarray(entries)


class Parts(NamedTuple):
    """What a point was computed from."""

    values: dict[str, float]
    variance: F
    dose: F
    offset: F
    xs: F
    """Columns times the standard deviations of their terms."""
    xw: F
    """The same over the noise's standard deviation of each row."""
    rest: F
    root: F
    """One over the noise's standard deviation of each row."""


def _cholesky(a: F) -> F:
    """Lower factor; where the scales are so far apart that rounding hides the 1, of nearly that."""
    factor, failed = lapack.dpotrf(a, lower=1)
    if failed:
        a.flat[:: len(a) + 1] += ROUNDING * np.diagonal(a).max()
        factor, failed = lapack.dpotrf(a, lower=1)
    if failed:
        raise BadInputError("The study's figures are too large to be compared.")
    return np.asarray(factor)


def _outer_names(design: Design, configuration: Configuration) -> list[str]:
    """Scales and doses on which a configuration's density hangs."""
    kinds = {design.scale[i] for i in design.active(configuration)} | {"series"}
    has_noise = {
        name: bool((design.noise == g).any()) for g, name in ((RIG, "run"), (HAND, RUNS[1]))
    }
    names: list[str] = [name for name in SCALES if name in kinds or has_noise.get(name, False)]
    saturating = [
        f"dose {name}"
        for name, kind in zip(design.recipes, configuration, strict=True)
        if kind == SATURATING
    ]
    names += ["damp_shift"] if design.damp.any() else []
    if saturating or design.is_worn:
        names.append("range")
    names += ["slide_dose"] if design.slides.any() else []
    names += ["throw_dose"] if design.throws.any() else []
    return names + saturating
