"""The linear part of the model as columns, and how treatments and wear enter for given doses.

For given scales and doses all else is linear and normal: levels, slopes, bags, boards, sessions,
each application's own deviation. So it is integrated exactly, and only the *outer* vector (scales
and doses) has to be searched. Two terms are written so that this holds: a model's own range is
D·(1 + δ), and an application's own dose is r·(1 + ε) to first order in ε.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.study.model.data import ModelData, Series
from rig.study.model.posterior import LINEAR, NULL, SATURATING
from rig.study.model.priors import (
    BOARD_RESIDUE_SLIDES,
    HALF,
    PRIORS,
    REFERENCE_HUMIDITY_PCT,
    REFERENCE_TEMPERATURE_C,
    RESIDUE_SLIDES,
)

F = NDArray[np.float64]
I = NDArray[np.intp]  # noqa: E741 - beside F
Key = tuple[str, ...]
Configuration = tuple[int, ...]
"""For each tested recipe NULL, LINEAR or SATURATING."""

RIG, HAND = 0, 1


class UsualTerms(NamedTuple):
    """What everything else is stated against: that with most slides."""

    board: str
    instrument: str
    method: str
    operator: str = ""
    """Of those that were named."""


class Design(NamedTuple):
    """A study's rows and columns; row and column numbers everywhere."""

    y: F
    """Means less the prior's level, in degrees; of a censored slide its bound."""
    n: F
    noise: I
    """RIG or HAND, the scatter of slides that applies to a row."""
    fixed_variance: F
    """Of a row that stands for a censored slide; 0 for a series, whose variance the scales give."""
    extra_variance: F
    """Of a series' mean, beside what the scales give."""
    matrix: F
    """Rows × columns, as far as the doses do not matter."""
    keys: tuple[Key, ...]
    scale: tuple[str, ...]
    """Of each column: the line in the table of priors."""
    within: F
    """For each noise: slides less series, sum of squares, and the sums of settling: Sxx, Sxy."""
    slides: F
    throws: F
    damp: F
    """Rows: the part of the hysteresis, less HALF."""
    applied: F
    """Rows × applications, 1 where it came before."""
    recipe_of: I
    """Of each application, by number into `recipes`; −1 if no row came after it."""
    recipes: tuple[str, ...]
    usual: UsualTerms
    scale_priors: Mapping[str, tuple[float, float]] = {}
    """Scale → centre and standard deviation of its standard normal, where not 0 and 1."""

    @property
    def settle(self) -> int:
        """The column of settling."""
        return self.keys.index(("settle",))

    @property
    def is_worn(self) -> bool:
        """Whether slides or throws came before some row."""
        return bool(self.slides.any() or self.throws.any())

    def of_kind(self, kind: str) -> I:
        """Numbers of the columns of a kind."""
        return np.array([i for i, key in enumerate(self.keys) if key[0] == kind], dtype=np.intp)

    def active(self, configuration: Configuration) -> I:
        """Columns that matter in a configuration."""
        kind = dict(zip(self.recipes, configuration, strict=True))
        has_dose = SATURATING in configuration or self.is_worn

        def is_active(key: Key) -> bool:
            if key[0] == "range_face":
                return has_dose
            if key[0] in ("effect", "effect_face"):
                return kind[key[1]] == LINEAR
            if key[0] == "residue":
                return kind[key[1]] != NULL
            if key[0] == "application":
                return bool(configuration[self.recipe_of[int(key[1])]] != NULL)
            return True

        return np.array([i for i, key in enumerate(self.keys) if is_active(key)], dtype=np.intp)

    def columns(self, configuration: Configuration) -> F:
        """The matrix for a configuration, where an effect that saturates has no column yet."""
        x = self.matrix.copy()
        for i in self.of_kind("application"):
            a = int(self.keys[i][1])
            x[:, i] = self.applied[:, a] * (configuration[self.recipe_of[a]] == LINEAR)
        return x

    def saturating(self, configuration: Configuration) -> F:
        """Rows × applications: 1 for one before the row whose recipe's effect saturates."""
        kinds = np.array([*configuration, NULL])[self.recipe_of]
        return np.where(kinds == SATURATING, self.applied, 0.0)


def usual_of(data: ModelData) -> UsualTerms:
    """Board, instrument, method and operator with most slides; a rig before all readers."""
    boards: Counter[str] = Counter()
    instruments: Counter[str] = Counter()
    methods: Counter[str] = Counter()
    operators: Counter[str] = Counter()
    for row in data.rows:
        boards[row.board] += row.n
        instruments[row.instrument] += row.n
        methods[row.method] += 0 if row.by_hand else row.n
        operators[row.operator] += row.n if row.operator else 0
    rigs = {name: n for name, n in instruments.items() if name.startswith("rig ")}
    return UsualTerms(_most(boards), _most(rigs or instruments), _most(methods), _most(operators))


def _most(counts: dict[str, int]) -> str:
    return min(counts, key=lambda name: (-counts[name], name), default="")


def design_of(data: ModelData) -> Design:
    """Rows and columns of a study."""
    rows, usual = data.rows, usual_of(data)
    terms = [dict(_terms(row, data, usual)) for row in rows]
    keys = sorted({key for of_row in terms for key in of_row} | {("settle",)})
    number = {key: i for i, key in enumerate(keys)}
    matrix = np.zeros((len(rows), len(keys)))
    for i, of_row in enumerate(terms):
        for key, value in of_row.items():
            matrix[i, number[key]] = value
    applied = np.zeros((len(rows), len(data.applications)))
    for i, row in enumerate(rows):
        applied[i, list(row.state.applications)] = 1.0
    recipes = data.tested
    is_seen = applied.sum(axis=0) > 0.0
    recipe_of = [
        recipes.index(one.recipe) if is_seen[a] else -1 for a, one in enumerate(data.applications)
    ]
    noise = np.array([HAND if row.by_hand else RIG for row in rows], dtype=np.intp)
    return Design(
        y=np.array([row.mean_deg for row in rows]) - PRIORS["level"].centre,
        n=np.array([float(row.n) for row in rows]),
        noise=noise,
        fixed_variance=np.zeros(len(rows)),
        extra_variance=np.array([row.extra_variance for row in rows]),
        matrix=matrix,
        keys=tuple(keys),
        scale=tuple("response" if key[0] == "application" else key[0] for key in keys),
        within=np.array([_within(data.series, by_hand=hand) for hand in (False, True)]),
        slides=np.array([row.state.slides for row in rows]),
        throws=np.array([row.state.throws for row in rows]),
        damp=np.array([row.damp - HALF for row in rows]),
        applied=applied,
        recipe_of=np.array(recipe_of, dtype=np.intp),
        recipes=recipes,
        usual=usual,
    )


def _within(series: Iterable[Series], *, by_hand: bool) -> tuple[float, float, float, float]:
    mine = [one for one in series if one.by_hand is by_hand]
    return (
        float(sum(one.n - 1 for one in mine)),
        sum(one.squares for one in mine),
        sum(one.settling_squares for one in mine),
        sum(one.settling_products for one in mine),
    )


def _terms(row: Series, data: ModelData, usual: UsualTerms) -> Iterable[tuple[Key, float]]:
    """Columns in which a row has an entry, and the entries, where the doses do not matter."""
    damper = (row.humidity_pct - REFERENCE_HUMIDITY_PCT) / 10.0
    yield ("level", row.model, row.face), 1.0
    yield ("bag", row.bag), 1.0
    yield ("bag_face", row.bag, row.face), 1.0
    yield ("session", row.session), 1.0
    yield ("slope",), damper
    yield ("slope_face", row.model, row.face), damper
    yield ("temperature",), (row.temperature_c - REFERENCE_TEMPERATURE_C) / 10.0
    yield ("settle",), row.settling
    if row.damp != HALF:
        yield ("from_damp", row.model, row.face), row.damp - HALF
    elif any(one.damp != HALF for one in data.rows):
        yield ("approach", row.session), 1.0
    if row.board != usual.board:
        yield ("board", row.board), 1.0
        yield ("board_face", row.board, row.face), 1.0
    if row.instrument != usual.instrument:
        yield ("reader" if row.by_hand else "rig", row.instrument), 1.0
    if row.operator and row.operator != usual.operator:
        yield ("operator", row.operator), 1.0
    if not row.by_hand and row.method != usual.method:
        joined = any({row.method, usual.method} <= group for group in data.bridged)
        yield ("method" if joined else "method_apart", row.method), 1.0
    if row.material_deg:
        yield ("material", row.bag, row.face, str(len(row.state.applications))), row.material_deg
    if row.residue_slides > 0.0:
        left = -float(np.expm1(-row.residue_slides / BOARD_RESIDUE_SLIDES))
        yield ("board_residue", row.session, row.board), left
    state = row.state
    done = [(a, data.applications[a].recipe) for a in state.applications]
    for recipe, times in Counter(recipe for _, recipe in done).items():
        yield ("effect", recipe), float(times)
        yield ("effect_face", recipe, row.model, row.face), float(times)
    for a, _ in done:
        yield ("application", str(a)), 0.0
    if done:
        yield ("residue", done[-1][1]), float(np.exp(-state.since / RESIDUE_SLIDES))
    if done or state.slides or state.throws:
        yield ("range_face", row.model, row.face), 0.0
