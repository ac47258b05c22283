"""Reduces the slide table to what the model needs: one entry for each series.

A series' mean, its number of slides and its scatter about the mean are all that its slides say, as
long as they scatter normally; the settling of a face within a series is carried along as two sums.
"""

from collections.abc import Iterable, Mapping, Sequence
from statistics import median
from typing import NamedTuple

from msgspec import Struct

from rig.study.folder.study import Study
from rig.study.model.history import Application, Histories, Played, State, histories_of
from rig.study.model.methods import bridged, checks_of, face_of, levels, method_of
from rig.study.model.priors import HALF, REFERENCE_HUMIDITY_PCT, REFERENCE_TEMPERATURE_C
from rig.study.model.rounding import CLOSE_DEG, hidden_variance, step_deg
from rig.study.slides.slide import Applied, Slide

SETTLED = 1.0 / 3.0
"""The settling term is stated against the third slide: standards leave out up to two."""


DAMP = {"from_dry": 0.0, "unknown": HALF, "from_damp": 1.0}
"""Of each approach, the part of the hysteresis."""


class Facts(Struct, frozen=True, kw_only=True):
    """What the catalogue and the journal add to the slides."""

    recipes: tuple[str, ...] = ()
    """Those of the catalogue, also if none was used yet."""
    models: dict[str, str] = {}
    """Bag → model, also of bags without a slide."""
    done: dict[str, tuple[Applied, ...]] = {}
    """Bag → all treatments up to now, in order; without an entry those of its last slide count."""
    plays: tuple[Played, ...] = ()
    """Throws between measurements."""


class Series(NamedTuple):
    """Slides of one bag face on one board without a change by hand; angles in degrees."""

    bag: str
    model: str
    face: str
    board: str
    instrument: str
    """`rig NAME`, `reader NAME` or `reader NAME, by phone`."""
    method: str
    """Raise rate and start, of a rig's slides."""
    session: str
    by_hand: bool
    humidity_pct: float
    """At the surface."""
    temperature_c: float
    damp: float
    """Where the bags came from: 0 dry air, 1 damp air, HALF if not known."""
    n: int
    mean_deg: float
    squares: float
    """Sum of squares about the mean, with what rounding took from it."""
    settling: float
    """Mean of 1/number − SETTLED over the slides."""
    settling_squares: float
    """Sum of squares of 1/number about its mean."""
    settling_products: float
    """Sum of products of 1/number and angle about their means."""
    state: State
    """What the face had been through, on average over the slides."""
    residue_slides: float
    """Slides of treated bags on this board in this session before this series."""
    material_deg: float = 0.0
    """Standard uncertainty that a check of the material found for this face at this stage."""
    extra_variance: float = 0.0
    """Of the mean, in degrees squared: what its slides say to be less certain of than usual."""
    operator: str = ""
    """Who worked the rig, if that was said; a reader is an instrument."""


class Censored(NamedTuple):
    """A slide that is only known to lie below an angle, as a series of its own without a mean."""

    series: Series
    below_deg: float


class ModelData(NamedTuple):
    """A study as the model sees it."""

    series: tuple[Series, ...]
    censored: tuple[Censored, ...]
    applications: tuple[Application, ...]
    """All that were journalled; a series' state refers to them by number."""
    now: dict[tuple[str, str], State]
    """(bag, face) → what it has been through up to now."""
    models: dict[str, str]
    recipes: tuple[str, ...]
    """Those of the catalogue and of the journal, in order of their names."""
    has_play: bool
    n_slides: int
    bridged: tuple[frozenset[str], ...]
    """Methods that bridging series join."""
    n_without_air: int
    """Slides whose humidity is not known; the session's or the study's mean stands for it."""

    @property
    def rows(self) -> tuple[Series, ...]:
        """All series, those of censored slides last."""
        return (*self.series, *(one.series for one in self.censored))

    @property
    def tested(self) -> tuple[str, ...]:
        """Recipes that some series came after."""
        used = {self.applications[a].recipe for row in self.rows for a in row.state.applications}
        return tuple(sorted(used))


def facts_of(study: Study, plays: Sequence[Played] = ()) -> Facts:
    """What the catalogue and the journal of a study add to its slides."""
    bags = study.catalogue.bags
    return Facts(
        recipes=tuple(study.catalogue.treatments),
        models={name: bag.model or "" for name, bag in bags.items()},
        done={
            name: tuple(
                Applied(one.recipe, one.steps, one.at, one.line)
                for one in study.journal.treatments_of(name)
            )
            for name in bags
        },
        plays=tuple(plays),
    )


def model_data(slides: Iterable[Slide], facts: Facts | None = None) -> ModelData:
    """Reduce a slide table.

    Args:
        slides: in order of time, those that don't count among them.
        facts: from catalogue and journal.
    """
    facts = facts or Facts()
    known = [slide for slide in slides if slide.bag is not None and slide.face is not None]
    histories = histories_of(known, facts.done, facts.plays)
    usable = levels(known)
    early = [s for s in known if s.is_early and s.purpose != "check" and _below_deg(s) > 0]
    material = {
        (one.bag, one.face, one.board, one.treatment_stage): one.widens_deg
        for one in checks_of(known)
    }
    air = _air_of([*usable, *early])
    exposed = _residue_slides(known)
    groups: dict[tuple[object, ...], list[Slide]] = {}
    for slide in usable:
        groups.setdefault(_series_key(slide), []).append(slide)
    models = {s.bag or "": s.model or "" for s in known} | facts.models
    usual_u2 = _usual_u2(usable)

    def series(of: Sequence[Slide]) -> Series:
        found = _series(of, models, histories, air, exposed)
        return found._replace(
            material_deg=material.get(face_of(of[0]), 0.0),
            extra_variance=_extra_variance(of, usual_u2),
        )

    applied = {one.recipe for one in histories.applications}
    return ModelData(
        series=_as_read([series(group) for group in groups.values()], usable),
        censored=tuple(Censored(series([s]), _below_deg(s)) for s in early),
        applications=histories.applications,
        now=histories.now,
        models=models,
        recipes=tuple(sorted({*facts.recipes, *applied})),
        has_play=bool(facts.plays),
        n_slides=len(usable),
        bridged=tuple(bridged(known)),
        n_without_air=sum(s.surface_humidity_pct is None for s in usable),
    )


def _below_deg(slide: Slide) -> float:
    bound = None if slide.result is None else slide.result.quick_start_deg
    return bound or slide.onset_angle_deg or 0.0


def _session(slide: Slide) -> str:
    return slide.session or slide.at[:10]


def _series_key(slide: Slide) -> tuple[object, ...]:
    """Equal for the slides of a series; without a name all of a face in a session and stage."""
    return (
        slide.source == "hand",
        _session(slide),
        slide.series,
        slide.bag,
        slide.face,
        slide.board,
        slide.rig,
        slide.reader,
        _operator(slide),
        method_of(slide),
        len(slide.treatments),
    )


def _air_of(slides: Sequence[Slide]) -> dict[str, float]:
    """Session → mean surface humidity in %RH, "" → the study's."""
    sums: dict[str, tuple[float, int]] = {}
    for slide in slides:
        if slide.surface_humidity_pct is not None:
            for key in ("", _session(slide)):
                total, n = sums.get(key, (0.0, 0))
                sums[key] = total + slide.surface_humidity_pct, n + 1
    return {key: total / n for key, (total, n) in sums.items()}


def _usual_u2(slides: Sequence[Slide]) -> float:
    """Median of the squared random uncertainty that lifts with a phone state of themselves."""
    return median([s.u_random_deg**2 for s in slides if s.u_random_deg is not None] or [0.0])


def _extra_variance(slides: Sequence[Slide], usual_u2: float) -> float:
    """The scatter of slides has the usual uncertainty in it already; only what is above counts."""
    over = [max(s.u_random_deg**2 - usual_u2, 0.0) for s in slides if s.u_random_deg is not None]
    return sum(over) / len(slides) ** 2


def _as_read(rows: Sequence[Series], slides: Sequence[Slide]) -> tuple[Series, ...]:
    """Series with the scatter that rounding took from their readings."""
    read: dict[str, list[float]] = {}
    for slide in slides:
        read.setdefault(_instrument(slide), []).append(slide.onset_angle_deg or 0.0)
    hidden = {}
    for instrument, angles in read.items():
        mine = [row for row in rows if row.instrument == instrument]
        settled = sum(row.settling_products for row in mine) ** 2
        settled /= sum(row.settling_squares for row in mine) or 1.0
        left = sum(row.squares for row in mine) - settled
        freedom = sum(row.n - 1 for row in mine)
        hidden[instrument] = hidden_variance(step_deg(angles), left, freedom)
    return tuple(
        row._replace(
            squares=row.squares + (row.n - 1) * hidden[row.instrument],
            # What readings that are all alike share does not average out.
            extra_variance=row.extra_variance
            + (row.squares < CLOSE_DEG**2) * hidden[row.instrument],
        )
        for row in rows
    )


def _residue_slides(slides: Sequence[Slide]) -> Mapping[str, int]:
    """Slide → slides of treated bags on its board before it in its session."""
    so_far: dict[tuple[str, str | None], int] = {}
    before: dict[str, int] = {}
    for slide in slides:
        place = _session(slide), slide.board
        before[slide.slide_id] = so_far.get(place, 0)
        so_far[place] = before[slide.slide_id] + (slide.slid and bool(slide.treatments))
    return before


def _series(
    slides: Sequence[Slide],
    models: Mapping[str, str],
    histories: Histories,
    air: Mapping[str, float],
    exposed: Mapping[str, int],
) -> Series:
    one = slides[0]
    bag = one.bag or ""
    by_hand = one.source == "hand"
    angles = [slide.onset_angle_deg or 0.0 for slide in slides]
    fresh = [1.0 / (s.slide_number or i) for i, s in enumerate(slides, start=1)]
    mean, mean_fresh = _mean(angles), _mean(fresh)
    usual = air.get(_session(one), air.get("", REFERENCE_HUMIDITY_PCT))
    temperatures = [s.temperature_c for s in slides if s.temperature_c is not None]
    return Series(
        bag=bag,
        model=models.get(bag, ""),
        face=one.face or "",
        board=one.board or "",
        instrument=_instrument(one),
        method=method_of(one),
        session=_session(one),
        by_hand=by_hand,
        humidity_pct=_mean([_or(s.surface_humidity_pct, usual) for s in slides]),
        temperature_c=_mean(temperatures) if temperatures else REFERENCE_TEMPERATURE_C,
        damp=DAMP[one.approach],
        n=len(slides),
        mean_deg=mean,
        squares=sum((angle - mean) ** 2 for angle in angles),
        settling=mean_fresh - SETTLED,
        settling_squares=sum((x - mean_fresh) ** 2 for x in fresh),
        settling_products=sum(
            (x - mean_fresh) * (y - mean) for x, y in zip(fresh, angles, strict=True)
        ),
        state=histories.mean_of([slide.slide_id for slide in slides]),
        residue_slides=_mean([float(exposed[slide.slide_id]) for slide in slides]),
        operator=_operator(one),
    )


def _operator(one: Slide) -> str:
    return "" if one.source == "hand" else one.operator or ""


def _instrument(one: Slide) -> str:
    if one.source != "hand":
        return f"rig {one.rig or ''}"
    return f"reader {one.reader or ''}{'' if one.trace is None else ', by phone'}"


def _or(value: float | None, other: float) -> float:
    return other if value is None else value


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
