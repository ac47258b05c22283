"""Which configurations of the recipes the slides speak for.

Each tested recipe does nothing, adds alike each time or saturates, a third each beforehand. Up to
four recipes all 81 are looked at if their neighbours keep any weight; beyond, those that can be
reached from the best one through neighbours of some weight, up to MOST.
"""

from itertools import product
from typing import NamedTuple

import numpy as np

from rig.study.model.design import Configuration, Design
from rig.study.model.laplace import Laplace, laplace_of, other_modes
from rig.study.model.likelihood import Likelihood
from rig.study.model.posterior import LINEAR, NULL, SATURATING

MOST = 81
WORTH_A_LOOK = 3e-3
"""Share of the evidence at which a configuration's neighbours are looked at."""
WORTH_DRAWS = 2e-3
"""Share of the evidence at which a configuration gets draws; the rest, some tenths of a per cent
in all, is left out."""


class Candidate(NamedTuple):
    """A configuration with its shapes."""

    likelihood: Likelihood
    shapes: tuple[Laplace, ...]
    """One for each mode."""

    @property
    def log_evidence(self) -> float:
        """Of all its modes together, by their shapes."""
        return float(np.logaddexp.reduce([shape.log_evidence for shape in self.shapes]))


def candidates(design: Design) -> list[Candidate]:
    """The configurations that deserve draws, the best one first."""
    found: dict[Configuration, tuple[Likelihood, Laplace]] = {}
    n = len(design.recipes)

    def look(configuration: Configuration, near: Configuration | None) -> None:
        likelihood = Likelihood(design, configuration)
        start: dict[str, float] = {}
        if near is not None:
            other, shape = found[near]
            start = dict(zip(other.names, shape.mode.tolist(), strict=True))
        found[configuration] = likelihood, laplace_of(likelihood, start)

    def share(configuration: Configuration) -> float:
        evidence = np.array([shape.log_evidence for _, shape in found.values()])
        total = float(np.logaddexp.reduce(evidence))
        return float(np.exp(found[configuration][1].log_evidence - total))

    look((NULL,) * n, None)
    left_out: set[Configuration] = set()
    while len(found) < MOST:
        open_ = [c for c in found if c not in left_out]
        best = max(open_, key=share, default=None)
        if best is None or share(best) < WORTH_A_LOOK:
            break
        left_out.add(best)
        for near in _neighbours(best):
            if near not in found and len(found) < MOST:
                look(near, best)
    chosen = sorted((c for c in found if share(c) >= WORTH_DRAWS), key=share, reverse=True)
    return [
        Candidate(likelihood, (shape, *other_modes(likelihood, shape)))
        for likelihood, shape in (found[c] for c in chosen)
    ]


def _neighbours(configuration: Configuration) -> list[Configuration]:
    """Those that differ in one recipe."""
    places = product(range(len(configuration)), (NULL, LINEAR, SATURATING))
    changed = ((*configuration[:i], kind, *configuration[i + 1 :]) for i, kind in places)
    return [other for other in changed if other != configuration]
