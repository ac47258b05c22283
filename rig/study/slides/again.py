"""Lifts with a phone, measured again from their traces by the program as it is now.

What counts is what the journal says of a lift, as long as no later line replaces it: a study gives
the same angles after an update of the program, and without its traces. So measuring again only
shows what would come out now; a person has it written, as lines that replace the older ones.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from rig.errors import BadInputError
from rig.study.folder.journal import ByPhone, Reading
from rig.study.folder.study import Study, open_study, study_above
from rig.study.phone.lift import measure
from rig.study.phone.slide import PhoneSlide, slide_of
from rig.study.phone.taps import PRIOR, Reaction
from rig.study.phone.trace import FOLDER, SUFFIX, TraceHeader, read_trace
from rig.study.slides.by_phone import lifted, phone_of, reaction_now
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table

SAME_DEG = 0.001
"""Angles and their uncertainties that agree so closely are the same, but for rounding."""
AGAIN = "measured again from its trace"


class Again(NamedTuple):
    """One lift."""

    trace: Path
    header: TraceHeader | None
    """None where the trace can't be read."""
    reading: Reading | None
    """The line of the journal that counts; None if there is none."""
    noted: PhoneSlide | None
    """By that line."""
    found: ByPhone | None
    slide: PhoneSlide | None
    """By the trace; None if it gives none."""
    problem: str

    @property
    def differs(self) -> bool:
        """Whether the line of the journal says something else than the trace does now."""
        if self.reading is None or self.found is None:
            return False
        old, new = phone_of(self.reading), self.found
        pairs = [
            *zip(old.before_tap_deg, new.before_tap_deg, strict=True),
            *((getattr(old, name), getattr(new, name)) for name in _STATED),
        ]
        return any(abs(a - b) > SAME_DEG for a, b in pairs)

    def document(self) -> dict[str, Any]:
        """Plain values for JSON."""
        header, slide, reading = self.header, self.slide, self.reading
        return {
            "trace_file": str(self.trace),
            "at": header and header.at,
            "bag": reading.bag if reading else header and header.bag,
            "face": reading.face if reading else header and header.face,
            "board": reading.board if reading else header and header.board,
            "reader": reading.reader if reading else header and header.reader,
            "line": reading and reading.line,
            "noted_angle_deg": self.noted and self.noted.angle_deg,
            "onset_angle_deg": slide and slide.angle_deg,
            "u_onset_angle_deg": slide and slide.layers.u_deg,
            "u_random_deg": slide and slide.u_random_deg,
            "rate_deg_s": self.found and self.found.rate_deg_s,
            "differs": self.differs,
            "problem": self.problem,
        }


_STATED = ("u_fit_deg", "u_sensor_deg", "u_zero_deg")


def traces_in(path: Path) -> list[Path]:
    """The trace that a path is, or those in a folder or in a study's folder `traces`, by time."""
    if path.is_file():
        return [path] if path.name.endswith(SUFFIX) else []
    return sorted([*path.glob(f"*{SUFFIX}"), *path.glob(f"{FOLDER}/*{SUFFIX}")])


def lifts_again(study: Study, of_rig: Iterable[Slide] | None = None) -> list[Again]:
    """All lifts of a study, also those whose trace is missing.

    Args:
        study: opened.
        of_rig: its slides by the rig, where they are known already.
    """
    traces = traces_in(study.path)
    by_phone = [one for one in study.journal.of(Reading) if one.phone is not UNSET]
    if not traces and not by_phone:
        return []
    of_rig = list(slide_table(study).of_rig if of_rig is None else of_rig)
    measuring = _Measuring(study, of_rig)
    found = [measuring.again(path) for path in traces]
    known = {one.trace.name for one in found}
    noted = lifted(study, of_rig)
    for reading in by_phone:
        if phone_of(reading).trace not in known:
            path = study.path / FOLDER / phone_of(reading).trace
            slide = noted[reading.line].slide
            words = "its trace is missing, so its angle rests on the journal alone"
            found.append(Again(path, None, reading, slide, None, None, words))
    return found


def lifts_of(paths: Iterable[Path]) -> list[Again]:
    """Lifts of traces that lie anywhere, of folders of them, and of studies.

    A trace that lies in a study is compared with its journal; of another one the reader's reaction
    is not known.
    """
    found: list[Again] = []
    studies: dict[Path, list[Again]] = {}
    for path in paths:
        place = path.absolute()
        above = study_above(place)
        traces = [one.absolute() for one in traces_in(path)]
        if place != above and not traces:
            continue  # runs alone, whatever lies beside them
        if above is None:
            found += [_Measuring(None, []).again(one) for one in traces]
            continue
        if above not in studies:
            studies[above] = lifts_again(open_study(above))
        found += [one for one in studies[above] if place == above or one.trace in traces]
    return list({one.trace: one for one in found}.values())


def corrections(lifts: Sequence[Again], operator: str | None, note: str) -> list[Reading]:
    """Lines that replace those which differ from what their traces say now."""
    lines = []
    for one in lifts:
        if one.differs and one.reading and one.found and one.slide:
            why = "; ".join(filter(None, (one.reading.note, note or AGAIN)))
            lines.append(
                msgspec.structs.replace(
                    one.reading,
                    angles_deg=(round(one.slide.angle_deg, 3),),
                    phone=one.found,
                    replaces=one.reading.line,
                    operator=operator or one.reading.operator,
                    note=why,
                )
            )
    return lines


class _Measuring:
    """Measures lifts of one study, or of none."""

    def __init__(self, study: Study | None, of_rig: Sequence[Slide]) -> None:
        self._study, self._of_rig = study, of_rig
        self._reactions: dict[str, Reaction] = {}
        lines = [] if study is None else study.journal.lines
        readings = [one for one in lines if isinstance(one, Reading) and one.phone is not UNSET]
        self._noted = {phone_of(one).trace for one in readings}
        counting = [] if study is None else study.journal.of(Reading)
        self._counts = {phone_of(one).trace: one for one in counting if one.phone is not UNSET}

    def again(self, path: Path) -> Again:
        """One lift."""
        try:
            trace = read_trace(path)
        except BadInputError as error:
            return Again(path, None, self._counts.get(path.name), None, None, None, str(error))
        reading, noted, problem = self._counts.get(path.name), None, ""
        reaction = self._reaction(trace.header.reader if reading is None else reading.reader)
        if reading is not None:
            noted = slide_of(phone_of(reading), reaction)
        elif self._study is not None:
            is_old = path.name in self._noted
            problem = "taken back" if is_old else "noted by no line of the journal"
        series = path.name if reading is None else phone_of(reading).series
        try:
            found = measure(trace, path.name, series)
        except BadInputError as error:
            return Again(path, trace.header, reading, noted, None, None, str(error))
        slide = slide_of(found, reaction)
        return Again(path, trace.header, reading, noted, found, slide, problem)

    def _reaction(self, reader: str) -> Reaction:
        if self._study is None:
            return PRIOR
        if reader not in self._reactions:
            self._reactions[reader] = reaction_now(self._study, reader, self._of_rig)
        return self._reactions[reader]
