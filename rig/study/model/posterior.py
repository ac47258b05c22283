"""What is known after the slides, as draws of each quantity of the model, seen or not yet seen."""

from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from typing import Literal, NamedTuple
from zlib import crc32

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from rig.study.model.history import Application, State
from rig.study.model.priors import (
    HALF,
    PRIORS,
    REFERENCE_HUMIDITY_PCT,
    REFERENCE_TEMPERATURE_C,
    RESIDUE_SLIDES,
    TYPICAL_EFFECT_DEG,
    value_at,
)

F = NDArray[np.float64]
NORMALS_KEPT = 16
"""Draws of what a study has not seen are asked for again and again by one bag face's forecasts."""
NULL, LINEAR, SATURATING = range(3)

Scale = Literal["run", "reader_run", "series", "session", "bag", "bag_face", "response", "rigs"]
SCALES: tuple[Scale, ...] = (
    "run",
    "reader_run",
    "series",
    "session",
    "bag",
    "bag_face",
    "response",
    "rigs",
)


class Air(NamedTuple):
    """Air that an angle is asked for."""

    humidity_pct: float = REFERENCE_HUMIDITY_PCT
    """At the board's surface."""
    temperature_c: float = REFERENCE_TEMPERATURE_C
    damp: float = HALF
    """Whence the bags came: 0 from dry, 1 from damp, HALF if not known."""


class Quality(Struct, frozen=True, kw_only=True):
    """Whether the computation may be trusted, and what the slides did not say."""

    pareto_k: float
    """Above 0.7 the weights are not to be trusted: no statement about tails then."""
    ess: float
    """Effective number of independent points of the scales and doses."""
    prior_carried: tuple[str, ...]
    """Names as in the table of priors, `NAME RECIPE` for doses: the data moved them little."""
    p_kinds: dict[str, tuple[float, float, float]]
    """Recipe → chances that it does nothing, adds alike each time, saturates."""
    n_configurations: int = 1
    n_without_air: int = 0


class About(Struct, frozen=True, kw_only=True):
    """What the draws are about; everything beside the numbers."""

    columns: tuple[tuple[str, ...], ...]
    """Key of each linear term: its kind and its labels."""
    now: tuple[tuple[str, str, State], ...]
    applications: tuple[Application, ...]
    models: dict[str, str]
    """Bag → model."""
    recipes: tuple[str, ...]
    usual_board: str
    instrument: str
    """Whose angles the answers are: `rig NAME` or `reader NAME`."""
    operator: str = ""
    """Who works that rig; empty if nobody was named."""
    usual_air: Air
    has_play: bool
    seed: int
    quality: Quality


class Posterior:
    """Draws of every quantity of the model, and of the formula's parts.

    What the study has not seen (another board, a bag or an application to come) is drawn from its
    prior or from the scatter that was found, by a seed of its name: the same draws each time.

    Args:
        about: what they are about.
        values: name → draws of scales and doses (`dose RECIPE`, `kind RECIPE`).
        linear: draws of the linear terms, a row for each of `about.columns`.
    """

    def __init__(self, about: About, values: dict[str, F], linear: NDArray[np.float32]) -> None:
        self.about = about
        self.values = values
        self.linear = linear
        self.n = int(linear.shape[1])
        self._row = {key: i for i, key in enumerate(about.columns)}
        self._now = {(bag, face): state for bag, face, state in about.now}
        self._normal = lru_cache(NORMALS_KEPT)(self._standard_normal)

    @property
    def quality(self) -> Quality:
        """Whether the computation may be trusted."""
        return self.about.quality

    @property
    def bag_faces(self) -> list[tuple[str, str]]:
        """Bags and faces that have slides."""
        return sorted(self._now)

    def level(
        self, bag: str, face: str, board: str | None, air: Air | None, model: str | None = None
    ) -> F:
        """Angle of a bag face before it was treated or worn, by this study."""
        model = self.about.models.get(bag, "") if model is None else model
        air = air or self.about.usual_air
        board = self.about.usual_board if board is None else board
        level = PRIORS["level"].centre + self.term("level", model, face)
        level = level + self.term("bag", bag) + self.term("bag_face", bag, face)
        if board != self.about.usual_board:
            level = level + self.board_offset(board, face)
        damper, came = (air.humidity_pct - REFERENCE_HUMIDITY_PCT) / 10.0, air.damp - HALF
        level = level + self.slope(model, face) * (damper + came * self._damp_shift())
        warmer = (air.temperature_c - REFERENCE_TEMPERATURE_C) / 10.0
        level = level + self.term("temperature") * warmer
        return level + self.term("from_damp", model, face) * came

    def slope(self, model: str, face: str) -> F:
        """Change of the angle per 10 %RH."""
        return self.term("slope") + self.term("slope_face", model, face)

    def board_offset(self, board: str, face: str = "") -> F:
        """What a board adds against the usual one, for a face or all."""
        face_part = self.term("board_face", board, face) if face else 0.0
        return self.term("board", board) + face_part

    def responses(
        self, bag: str, face: str, state: State, further: Sequence[str] = ()
    ) -> Iterator[F]:
        """What treatments, slides and throws have added: now, then after each further application.

        Args:
            bag: for its model and for what it alone has been through.
            face: of the bag.
            state: what it has been through.
            further: recipes of applications to come, in order.
        """
        model = self.about.models.get(bag, "")
        linear, dose, uneven = np.zeros(self.n), np.zeros(self.n), np.zeros(self.n)
        dose += self.values["slide_dose"] * state.slides
        dose += self.values["throw_dose"] * state.throws

        @cache
        def of(recipe: str) -> tuple[F, F, F, F]:
            """What one application adds: linear, deviation of it, dose, deviation of that."""
            kind, each_dose = self.kind(recipe), self.dose(recipe)
            each = self.term("effect", recipe) + self.term("effect_face", recipe, model, face)
            is_linear, taken = kind == LINEAR, np.where(kind == SATURATING, each_dose, 0.0)
            return is_linear * each, is_linear * 1.0, taken, taken / TYPICAL_EFFECT_DEG

        def apply(recipe: str, deviation: F) -> None:
            each, is_linear, each_dose, share = of(recipe)
            linear[:] += each + is_linear * deviation
            dose[:] += each_dose
            uneven[:] += share * deviation

        own_range, mean_range = self.range_of(model, face), self.values["range"]

        def added(recipe: str | None, fresh: float) -> F:
            left = np.exp(-dose)
            total = linear - own_range * (1.0 - left) - mean_range * left * uneven
            return total if recipe is None else total + fresh * residue_of(recipe)

        @cache
        def residue_of(recipe: str) -> F:
            return np.where(self.kind(recipe) == NULL, 0.0, self.term("residue", recipe))

        recipe = None
        for a in state.applications:
            recipe = self.about.applications[a].recipe
            apply(recipe, self._deviation(a))
        yield added(recipe, float(np.exp(-state.since / RESIDUE_SLIDES)))
        for i, recipe in enumerate(further):
            to_come = self._normal("to come", bag, recipe, str(i))
            apply(recipe, self.values["response"] * to_come)
            yield added(recipe, 1.0)

    def state(self, bag: str, face: str) -> State:
        """What a bag face has been through up to now; a bag without slides, its treatments."""
        if (bag, face) in self._now:
            return self._now[bag, face]
        mine = tuple(a for a, one in enumerate(self.about.applications) if one.bag == bag)
        return State(mine)

    def range_of(self, model: str, face: str) -> F:
        """D of a model's face."""
        return self.values["range"] * (1.0 + self.term("range_face", model, face))

    def _deviation(self, application: int) -> F:
        """One application's own deviation, for TYPICAL_EFFECT_DEG where the effect saturates."""
        row = self._row.get(("application", str(application)))
        if row is not None:
            return np.asarray(self.linear[row], dtype=np.float64)
        return self.values["response"] * self._normal("applied", str(application))

    def dose(self, recipe: str) -> F:
        """Dose r of one application, where the recipe's effect saturates."""
        known = self.values.get(f"dose {recipe}")
        return value_at("dose", self._normal("dose", recipe)) if known is None else known

    def _damp_shift(self) -> F:
        """How much damper air counts for bags that came from damp, in 10 %RH."""
        known = self.values.get("damp_shift")
        return value_at("damp_shift", self._normal("damp_shift")) if known is None else known

    def kind(self, recipe: str) -> F:
        """NULL, LINEAR or SATURATING."""
        known = self.values.get(f"kind {recipe}")
        if known is not None:
            return known
        rng = np.random.default_rng([self.about.seed, crc32(f"kind {recipe}".encode())])
        return rng.integers(0, 3, self.n).astype(np.float64)

    def term(self, kind: str, *labels: str) -> F:
        """A linear term's draws; from its prior if the study has not seen it."""
        row = self._row.get((kind, *labels))
        if row is not None:
            return np.asarray(self.linear[row], dtype=np.float64)
        scale = self.values[kind] if kind in self.values else PRIORS[kind].spread
        return scale * self._normal(kind, *labels)

    def _standard_normal(self, *key: str) -> F:
        """Standard normals that belong to a name, not to be written to."""
        seed = crc32("\0".join(key).encode())
        drawn = np.random.default_rng([self.about.seed, seed]).standard_normal(self.n)
        drawn.flags.writeable = False
        return drawn
