"""How the slide angle goes with humidity: a band from the draws, and what was measured."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from rig.report.paths import angle_in
from rig.study.answer.answer import Answer, Weather
from rig.study.answer.ask import Asked
from rig.study.model.data import ModelData, Series
from rig.study.model.draws import interval
from rig.study.model.posterior import Air

BEYOND_PCT = 5.0
"""So far the curve goes beyond what was measured and asked for, in %RH."""
POINTS = 13


class Humidity(Struct, frozen=True, kw_only=True):
    """The curve at one humidity, with its 95 % interval."""

    surface_humidity_pct: float
    angle_deg: float
    lower_deg: float
    upper_deg: float


class Measured(Struct, frozen=True, kw_only=True):
    """A series: the curve there plus what the model leaves of the series' mean."""

    surface_humidity_pct: float
    angle_deg: float


class WeatherBand(Struct, frozen=True, kw_only=True):
    """The mean of a model's bags on one face, as they are now."""

    model: str
    face: str
    n_bags: int
    shown: bool
    """The slope's sign may be claimed."""
    curve: tuple[Humidity, ...]
    series: tuple[Measured, ...]


def bands_of(asked: Asked, answer: Answer, data: ModelData) -> list[WeatherBand]:
    """A band for each model's face whose bags were measured."""
    return [
        band
        for one in answer.weather
        if (band := _band(asked, answer, one, data.series)) is not None
    ]


def _band(
    asked: Asked, answer: Answer, one: Weather, all_rows: Sequence[Series]
) -> WeatherBand | None:
    draws, air = asked.draws, asked.question.model_air
    models = draws.about.models
    bags = [b for b in answer.bags if models.get(b.bag, "") == one.model and b.face == one.face]
    names = {b.bag for b in bags}
    rows = [row for row in all_rows if row.bag in names and row.face == one.face]
    if not rows:
        return None
    angles = [draws.angle(b.bag, b.face, b.board, air) for b in bags]
    level, slope = np.mean(angles, axis=0), draws.slope(one.model, one.face)
    humid = [air.humidity_pct, *(row.humidity_pct for row in rows)]
    low, high = max(min(humid) - BEYOND_PCT, 0.0), min(max(humid) + BEYOND_PCT, 100.0)

    def curve() -> Iterator[Humidity]:
        for humidity in np.linspace(low, high, POINTS):
            at = interval(level + slope * (humidity - air.humidity_pct) / 10.0)
            yield Humidity(
                surface_humidity_pct=float(humidity),
                angle_deg=at.median,
                lower_deg=at.lower,
                upper_deg=at.upper,
            )

    def measured() -> Iterator[Measured]:
        middle, rise = float(np.median(level)), float(np.median(slope))
        for row in rows:
            on_curve = middle + rise * (row.humidity_pct - air.humidity_pct) / 10.0
            yield Measured(
                surface_humidity_pct=row.humidity_pct,
                angle_deg=on_curve + row.mean_deg - _expected(asked, row),
            )

    return WeatherBand(
        model=one.model,
        face=one.face,
        n_bags=len(bags),
        shown=one.shown,
        curve=tuple(curve()),
        series=tuple(measured()),
    )


def _expected(asked: Asked, row: Series) -> float:
    """What the model makes of a series' mean, in its own air and state."""
    air = Air(row.humidity_pct, row.temperature_c, row.damp)
    angle = angle_in(asked.draws, row.bag, row.face, row.state, row.board, air)
    return float(np.median(angle + asked.draws.instrument_offset(row.instrument)))
