"""Lifts that a phone sends: the trace is kept first, then its slide is noted."""

from datetime import timedelta
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from msgspec import UNSET

from rig.errors import BadInputError
from rig.files.stamps import parse_utc, utc_text
from rig.panel.study.book import Book, Said
from rig.panel.study.forms import LiftForm
from rig.panel.study.writes import air_of, noted
from rig.quantities.figures import fixed
from rig.quantities.typed import quantity
from rig.study.folder.journal import ByPhone, Entry, Reading
from rig.study.folder.ranges import AIR_C
from rig.study.folder.study import Study, open_study
from rig.study.phone.lift import measure
from rig.study.phone.slide import PhoneSlide, slide_of
from rig.study.phone.trace import PhoneZero, Trace, TraceHeader, keep_trace, read_trace
from rig.study.phone.zero import level_of
from rig.study.slides.by_phone import phone_of, reaction_now
from rig.study.slides.table import slide_table

APART = timedelta(minutes=10)
"""Lifts of one bag face that lie further apart are series of their own."""
PACES_DEG_S = (0.5, 3.0)


class Lifts:
    """What comes of lifts.

    Args:
        book: of the study that they belong to.
    """

    def __init__(self, book: Book) -> None:
        self._book = book

    def note(self, form: LiftForm) -> Said:
        """Keep a trace and note its slide; `slid` says whether there is one.

        Raises:
            BadInputError: it is of no bag, face or board of the study; then nothing was kept.
        """
        told: list[str] = []

        def entries(study: Study, now: str) -> list[Entry]:
            at = utc_text(parse_utc(now) - timedelta(seconds=form.age_s))
            path = _kept(study, form, at)
            trace = read_trace(path)
            try:
                found = measure(trace, path.name, _series(study, form, path.name, trace.header.at))
            except BadInputError as error:
                told.append(str(error))
                return []
            return [self._reading(study, form, found, trace.header.at)]

        written = self._book.once(form, entries)
        entry = written[0] if written else None
        if not isinstance(entry, Reading):
            return {"slid": False, "text": " ".join(told)}
        slide = _slide(self._book.path, entry)
        return {
            "slid": True,
            "angle_deg": round(slide.angle_deg, 2),
            "u_deg": round(slide.layers.u_deg, 2),
            "rate_deg_s": phone_of(entry).rate_deg_s,
            "text": f"Noted: {entry.bag}, {entry.face} slid at {fixed(slide.angle_deg, 1)}"
            f" ± {fixed(2.0 * slide.layers.u_deg, 1)}°, pace"
            f" {fixed(phone_of(entry).rate_deg_s, 1)} °/s.",
        }

    def _reading(self, study: Study, form: LiftForm, found: ByPhone, at: str) -> Reading:
        reaction = reaction_now(study, form.reader, slide_table(study).of_rig)
        angle_deg = round(slide_of(found, reaction).angle_deg, 3)
        return noted(study, form, at, (angle_deg,), found)


def zero_words(zero: PhoneZero) -> Said:
    """What a zeroing says of the board.

    Raises:
        BadInputError: it can't be used.
    """
    level = level_of(zero)
    along, across = (fixed(abs(one), 1) for one in (level.along_deg, level.across_deg))
    return {"text": f"Zeroed. The board leans by {along}° along and {across}° across."}


def _kept(study: Study, form: LiftForm, at: str) -> Path:
    """The trace's file: of this request, or of one before with the same key."""
    study.check_face(form.bag, form.face)
    study.check_board(form.board)
    air_of(form.temperature, form.humidity, AIR_C)
    header = TraceHeader(
        trace_id=form.key,
        at=at,
        bag=form.bag,
        face=form.face,
        board=form.board,
        reader=form.reader,
        pace_deg_s=quantity("The pace", form.pace, "°/s", *PACES_DEG_S).value,
        zero=form.zero,
        software=_software(),
    )
    return keep_trace(study.path, form.key, Trace(header=header, samples=form.samples))


def _software() -> str:
    try:
        return version("rig")
    except PackageNotFoundError:
        return ""


def _series(study: Study, form: LiftForm, name: str, at: str) -> str:
    """That of the lift before, where it is of the same bag face and only minutes ago."""
    readings = study.journal.of(Reading)
    if not readings:
        return name
    last = readings[-1]
    who = (last.bag, last.face, last.board, last.reader)
    is_same = who == (form.bag, form.face, form.board, form.reader)
    is_soon = abs(parse_utc(at) - parse_utc(last.at)) <= APART
    return phone_of(last).series if is_same and is_soon and last.phone is not UNSET else name


def _slide(folder: Path, entry: Reading) -> PhoneSlide:
    study = open_study(folder)
    return slide_of(phone_of(entry), reaction_now(study, entry.reader, slide_table(study).of_rig))
