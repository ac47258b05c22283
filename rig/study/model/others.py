"""What other owners' studies say, beside a study's own slides.

`reduction` has made *readings* of it: combinations of terms, each with the standard deviation 1. A
study that takes them along gets them as rows beside its series, and another centre and spread for
its scales.

Levels are as another study's rig shows them on its board, worked by its operator. So a reading has
the offset of the other rig less that of the own one, and the same for boards and operators; bags
that both know hold them together.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from rig.study.model.design import RIG, Design, F, Key, UsualTerms

SHARED = "shared "
"""Begins the names of bags and boards that several owners know under one name."""


class Bound(NamedTuple):
    """Other studies as they are taken along by one study."""

    keys: tuple[Key, ...] = ()
    """Terms: `level`, `slope_face` and `from_damp` of a model's face, `slope`, `temperature`, and
    `bag` and `bag_face` of shared bags."""
    usual: tuple[UsualTerms | None, ...] = ()
    """Of each level: the board, instrument and method that it is stated against."""
    weights: tuple[tuple[float, ...], ...] = ()
    """Readings × terms, in units of 1/°, so that each reading has the standard deviation 1."""
    readings: tuple[float, ...] = ()
    aliases: Mapping[str, str] = {}
    """Shared name → the study's own name, of bags and boards."""
    instruments: Mapping[str, str] = {}
    """The study's own `reader NAME` or `operator NAME` → how others know them."""
    scales: Mapping[str, tuple[float, float]] = {}
    """Scale → centre and standard deviation of its standard normal after the others."""

    def rows(self, design: Design) -> tuple[list[dict[Key, float]], list[float]]:
        """Readings as entries by column, for a study of this design, and their values."""
        columns = [
            self._columns(key, theirs, design)
            for key, theirs in zip(self.keys, self.usual, strict=True)
        ]
        rows: list[dict[Key, float]] = []
        for weights in self.weights:
            row: dict[Key, float] = {}
            for weight, entries in zip(weights, columns, strict=True):
                for key, entry in entries.items():
                    row[key] = row.get(key, 0.0) + weight * entry
            rows.append(row)
        return rows, list(self.readings)

    def _columns(self, key: Key, theirs: UsualTerms | None, design: Design) -> dict[Key, float]:
        """What a term of theirs is in terms of the own study."""
        if key[0] in ("bag", "bag_face"):
            own = (key[0], self.aliases.get(key[1], key[1]), *key[2:])
            return {own: 1.0}
        found: dict[Key, float] = {key: 1.0}
        if theirs is None:
            return found
        board, instrument, method, operator = theirs
        usual = design.usual
        board = self.aliases.get(board, board)
        mine = self.instruments.get(usual.instrument, usual.instrument)
        if board != usual.board:
            for name, sign in ((board, 1.0), (usual.board, -1.0)):
                found["board", name] = sign
                found["board_face", name, key[2]] = sign
        if instrument != mine:
            for name, sign in ((instrument, 1.0), (mine, -1.0)):
                found["reader" if name.startswith("reader ") else "rigs", name] = sign
        if method and usual.method and method != usual.method:
            found["method", method] = 1.0
        return found | self._operators(operator, design)

    def _operators(self, theirs: str, design: Design) -> dict[Key, float]:
        """Their operator against the own one; an operator who was not named is like the own."""
        own = {known: name for name, known in self.instruments.items()}
        operator = own.get(f"operator {theirs}", f"operator {theirs}").removeprefix("operator ")
        mine = design.usual.operator
        if not operator or operator == mine:
            return {}
        if not mine or ("operator", operator) in design.keys:  # it is stated against `mine`
            return {("operator", operator): 1.0}
        return {("operator", operator): 1.0, ("operator", mine): -1.0}


NOBODY = Bound()


class Told(NamedTuple):
    """What other studies say, and how many they are."""

    bound: Bound
    n_studies: int
    n_slides: int
    n_rigs: int
    n_readers: int
    n_operators: int
    """Of rigs, where they were named."""
    shared_bags: tuple[str, ...]
    """Own names of the bags that others measured, too."""


def with_others(design: Design, bound: Bound, n_censored: int) -> Design:
    """The design with the others' readings before its censored rows, and its scales' priors."""
    rows, values = bound.rows(design)
    if not rows:
        return design
    keys = tuple(sorted({*design.keys, *(key for row in rows for key in row)}))
    place = {key: i for i, key in enumerate(keys)}
    first = len(design.y) - n_censored
    matrix = np.zeros((len(design.y), len(keys)))
    matrix[:, [place[key] for key in design.keys]] = design.matrix
    told = np.zeros((len(rows), len(keys)))
    for i, row in enumerate(rows):
        for key, entry in row.items():
            told[i, place[key]] = entry

    def joined(own: F, value: float) -> F:
        return np.insert(own, first, np.full(len(rows), value))

    return design._replace(
        y=np.insert(design.y, first, values),
        n=joined(design.n, 1.0),
        noise=np.insert(design.noise, first, np.full(len(rows), RIG)),
        fixed_variance=joined(design.fixed_variance, 1.0),
        extra_variance=joined(design.extra_variance, 0.0),
        matrix=np.insert(matrix, first, told, axis=0),
        keys=keys,
        scale=tuple("response" if key[0] == "application" else key[0] for key in keys),
        slides=joined(design.slides, 0.0),
        damp=joined(design.damp, 0.0),
        throws=joined(design.throws, 0.0),
        applied=np.insert(
            design.applied, first, np.zeros((len(rows), design.applied.shape[1])), axis=0
        ),
        scale_priors=bound.scales,
    )
