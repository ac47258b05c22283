"""Slides that a phone measured: each lift with what its reader's reaction is by now known to be."""

from collections.abc import Iterable, Sequence
from statistics import fmean, median, stdev
from typing import NamedTuple

from msgspec import UNSET

from rig.study.folder.catalogue import BASELINE
from rig.study.folder.journal import ByPhone, Reading
from rig.study.folder.study import Study
from rig.study.phone.slide import PhoneSlide, slide_of
from rig.study.phone.taps import Beside, Reaction, Tapped, reaction_of
from rig.study.slides.slide import Slide

ONE_SLIDE_DEG = 0.3
"""Standard deviation of a single slide of a rig; judged."""

Group = tuple[str, ...]


class Lifted(NamedTuple):
    """One lift in the table."""

    slide: PhoneSlide
    slide_number: int


def lifted(study: Study, of_rig: Iterable[Slide]) -> dict[int, Lifted]:
    """Line of the journal → the slide that its phone measured."""
    readings = [one for one in study.journal.of(Reading) if one.phone is not UNSET]
    by_reader: dict[str, list[Reading]] = {}
    for one in readings:
        by_reader.setdefault(one.reader, []).append(one)
    rig = _beside(study, of_rig) if readings else {}
    reactions = {name: _reaction(study, mine, rig) for name, mine in by_reader.items()}
    numbers: dict[tuple[str, str, str, str], int] = {}
    found = {}
    for one in readings:
        phone = phone_of(one)
        key = (phone.series, one.bag, one.face, one.board)
        numbers[key] = numbers.get(key, 0) + 1
        found[one.line] = Lifted(slide_of(phone, reactions[one.reader]), numbers[key])
    return found


def reaction_now(study: Study, reader: str, of_rig: Iterable[Slide]) -> Reaction:
    """What is known by now of a reader's reaction."""
    mine = [r for r in study.journal.of(Reading) if r.phone is not UNSET and r.reader == reader]
    return _reaction(study, mine, _beside(study, of_rig) if mine else {})


def common_shift_deg(slides: Iterable[Slide]) -> float | None:
    """Standard uncertainty common to all angles; None unless all are of one reader's phone."""
    slides = list(slides)
    if not slides or any(one.trace is None for one in slides):
        return None
    if len({one.reader for one in slides}) > 1:
        return None
    pairs = [(one.u_onset_angle_deg or 0.0, one.u_random_deg or 0.0) for one in slides]
    return float(median(max(u**2 - own**2, 0.0) for u, own in pairs) ** 0.5)


def phone_of(reading: Reading) -> ByPhone:
    """What a phone measured; only for readings that have it."""
    assert reading.phone is not UNSET  # noqa: S101 - asked before
    return reading.phone


def _reaction(study: Study, readings: Sequence[Reading], rig: dict[Group, Beside]) -> Reaction:
    lifts = []
    for one in readings:
        phone = phone_of(one)
        group = _group(study, one.bag, one.face, one.board, one.session, one.at)
        lifts.append(Tapped(group, phone.before_tap_deg[0], phone.rate_deg_s, phone.u_fit_deg))
    return reaction_of(lifts, rig)


def _beside(study: Study, of_rig: Iterable[Slide]) -> dict[Group, Beside]:
    angles: dict[Group, list[tuple[float, float]]] = {}
    for row in of_rig:
        is_usual = row.valid and row.purpose != "check" and row.onset_angle_deg is not None
        if not (is_usual and row.bag and row.face and row.board and row.session):
            continue
        group = _group(study, row.bag, row.face, row.board, row.session, row.at)
        rate = 1.0 if row.rate_deg_s is None else row.rate_deg_s
        angles.setdefault(group, []).append((row.onset_angle_deg or 0.0, rate))
    return {group: _mean(rows) for group, rows in angles.items()}


def _mean(rows: Sequence[tuple[float, float]]) -> Beside:
    angles = [angle for angle, _ in rows]
    sd = stdev(angles) if len(angles) > 2 else ONE_SLIDE_DEG
    return Beside(fmean(angles), sd / len(angles) ** 0.5, fmean(rate for _, rate in rows))


def _group(study: Study, bag: str, face: str, board: str, session: str, at: str) -> Group:
    stage = study.stage_at(bag, at) if bag in study.catalogue.bags else BASELINE
    return (bag, face, board, session, stage)
