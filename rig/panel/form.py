"""What a page sends, taken apart with care: bodies as JSON, fields as sentences when wrong."""

import math
import unicodedata
from datetime import UTC, datetime
from typing import Literal, NamedTuple, TypeVar

import msgspec

from rig.control.request import RunRequest
from rig.panel.seats import RefusedError
from rig.panel.words import Units
from rig.procedures.requests import plan_series
from rig.settings.model import Settings
from rig.study.words import MM_PER_INCH

MAX_BODY = 4096
MAX_NAME = 60


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


Body = Empty | PairForm | SeriesForm
B = TypeVar("B", bound=Body)


def decode(data: bytes, kind: type[B]) -> B:
    """The body of a request.

    Raises:
        RefusedError: it is not JSON of this kind, or too long.
    """
    if len(data) > MAX_BODY:
        raise RefusedError(f"That is too long; {MAX_BODY} bytes are taken.", 413)
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
    gap_unit_mm = MM_PER_INCH if form.units == "us" else 1.0
    gap = _number("The gap", form.gap, 1.0 / gap_unit_mm, 50.0 / gap_unit_mm)
    return Wanted(
        _whole("The number of runs", form.runs, 1, 1000),
        rate_deg_s=_number("The raise rate", form.rate, 0.1, 3.0),
        dwell_s=_number("The rest", form.dwell, 0.0, 3600.0),
        gap_mm=None if gap is None else gap * gap_unit_mm,
        bag=_name("The bag", form.bag),
        face=_name("The face", form.face),
        board=_name("The board", form.board),
    )


def requests_of(
    form: SeriesForm, settings: Settings, source: Literal["rig", "twin"]
) -> list[RunRequest]:
    """The runs that are asked for.

    Raises:
        RefusedError: a field makes no sense.
    """
    return plan_series(settings, source=source, started=datetime.now(UTC), **wanted(form)._asdict())


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
    is_metric = units == "metric"
    return {
        "rig_name": usual.rig_name,
        "rate": f"{usual.rate_deg_s:g}",
        "dwell": f"{usual.dwell_s:g}",
        "gap": f"{usual.gap_mm:g}" if is_metric else f"{usual.gap_mm / MM_PER_INCH:.2f}",
        "gap_label": f"Gap to the beam in {'mm' if is_metric else 'inches'}",
    }


def _whole(what: str, text: str, low: int, high: int) -> int:
    value = _number(what, text, low, high)
    if value is None or value != int(value):
        raise RefusedError(f"{what} is a whole number from {low} to {high}.", 400)
    return int(value)


def _number(what: str, text: str, low: float, high: float) -> float | None:
    """A number as people of several countries type it; None when nothing was typed."""
    text = text.strip()
    if not text:
        return None
    try:
        value = float(text.replace(",", ".")) if len(text) <= 20 else math.nan
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise RefusedError(f"{what} is a number from {low:.3g} to {high:.4g}.", 400)
    return value


def _name(what: str, text: str) -> str | None:
    name = " ".join(text.split())
    if len(name) > MAX_NAME:
        raise RefusedError(f"{what}'s name is too long; {MAX_NAME} letters are taken.", 400)
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn") for c in name):
        raise RefusedError(f"{what}'s name holds a character that cannot be shown.", 400)
    return name or None
