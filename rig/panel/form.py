"""What a page sends, taken apart with care: bodies as JSON, fields as sentences when wrong."""

from datetime import datetime
from typing import Literal, NamedTuple, TypeVar

import msgspec

from rig.control.request import RunRequest
from rig.errors import BadInputError
from rig.files.names import safe_name
from rig.panel.seats import RefusedError
from rig.panel.words import Units
from rig.procedures.requests import plan_series
from rig.quantities.shown import system
from rig.quantities.typed import is_bare, quantity
from rig.settings.checks import check_rate
from rig.settings.method import DWELL_S, GAP_MM, RATE_DEG_S, RUNS
from rig.settings.model import Settings

MAX_BODY = 4096


class Empty(msgspec.Struct, forbid_unknown_fields=True):
    """A body that says nothing."""


class PairForm(msgspec.Struct, forbid_unknown_fields=True):
    """The code from the rig's terminal."""

    code: str


class SeriesForm(msgspec.Struct, forbid_unknown_fields=True):
    """A series as a person types it; numbers as text, empty for the rig's own value."""

    runs: str
    bag: str = ""
    face: str = ""
    board: str = ""
    rate: str = ""
    dwell: str = ""
    gap: str = ""
    units: Units = "metric"
    ready: bool = False


B = TypeVar("B", bound=msgspec.Struct)


def decode(data: bytes, kind: type[B], most: int = MAX_BODY) -> B:
    """The body of a request.

    Args:
        data: as it came.
        kind: what it must be.
        most: bytes that are taken.

    Raises:
        RefusedError: it is not JSON of this kind, or too long.
    """
    if len(data) > most:
        raise RefusedError(f"That is too long; {most} bytes are taken.", 413)
    try:
        return msgspec.json.decode(data or b"{}", type=kind)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise RefusedError(f"The request cannot be read: {error}.", 400) from error


class Wanted(NamedTuple):
    """A series form as values; None is the rig's own."""

    repeat: int
    rate_deg_s: float | None
    dwell_s: float | None
    gap_mm: float | None
    bag: str | None
    face: str | None
    board: str | None


def wanted(form: SeriesForm) -> Wanted:
    """The values that were typed.

    Raises:
        RefusedError: a field makes no sense.
    """
    gap = f"{form.gap} in" if form.units == "us" and is_bare(form.gap) else form.gap
    try:
        return Wanted(
            _whole("The number of runs", form.runs, *RUNS),
            rate_deg_s=_number("The raise rate", form.rate, "°/s", *RATE_DEG_S),
            dwell_s=_number("The rest", form.dwell, "s", *DWELL_S),
            gap_mm=_number("The gap", gap, "mm", *GAP_MM),
            bag=_name("bag", form.bag),
            face=_name("face", form.face),
            board=_name("board", form.board),
        )
    except BadInputError as error:
        raise RefusedError(f"{error}", 400) from error


def requests_of(
    form: SeriesForm, settings: Settings, source: Literal["rig", "twin"], started: datetime
) -> list[RunRequest]:
    """The runs that are asked for, by a session that begins now.

    Raises:
        RefusedError: a field makes no sense.
    """
    values = wanted(form)
    if values.rate_deg_s is not None:
        try:
            check_rate(settings, values.rate_deg_s, "The raise rate")
        except BadInputError as error:
            raise RefusedError(f"{error}", 400) from error
    return plan_series(settings, source=source, started=started, **values._asdict())


class Usual(msgspec.Struct, frozen=True, kw_only=True):
    """What the rig takes for a field that was left empty, and what it is called."""

    rig_name: str
    rate_deg_s: float
    dwell_s: float
    gap_mm: float


def usual_of(settings: Settings, source: Literal["rig", "twin"]) -> Usual:
    """What these settings say."""
    return Usual(
        rig_name="simulated: the twin" if source == "twin" else settings.name,
        rate_deg_s=settings.motion.rate_deg_s,
        dwell_s=settings.cycle.dwell_s,
        gap_mm=settings.bag.gap_mm,
    )


def hints(usual: Usual, units: Units) -> dict[str, str]:
    """The same in words, for the page."""
    length = system(units)["mm"]
    gap = f"{usual.gap_mm:g}" if units == "metric" else length.figure(usual.gap_mm, ".0f")
    return {
        "rig_name": usual.rig_name,
        "rate": f"{usual.rate_deg_s:g}",
        "dwell": f"{usual.dwell_s:g}",
        "gap": gap,
        "gap_label": f"Gap to the beam in {'mm' if units == 'metric' else 'inches'}",
    }


def _whole(what: str, text: str, low: int, high: int) -> int:
    value = _number(what, text, "", low, high)
    if value is None or value != int(value):
        raise BadInputError(f"{what} is a whole number from {low} to {high}.")
    return int(value)


def _number(what: str, text: str, unit: str, low: float, high: float) -> float | None:
    """A quantity as people of several countries type it; None when nothing was typed."""
    return quantity(what, text, unit, low, high).value if text.strip() else None


def _name(what: str, text: str) -> str | None:
    name = " ".join(text.split())
    return safe_name(name, what) if name else None
