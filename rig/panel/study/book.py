"""The study as the page sees it: read, written to, and worded; called from threads."""

import threading
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any, TypeVar

import msgspec

from rig.errors import BadInputError
from rig.files.stamps import parse_utc, utc_text
from rig.files.time_here import now_in
from rig.panel.study import forms, writes
from rig.panel.study.tonight import place_words, tonight_of
from rig.procedures.studied import ANY_STEADY, StudySeries, study_series
from rig.quantities.figures import fixed
from rig.study.answer.expected import Expected, shift_words, surprise
from rig.study.answer.foreseen import cost_sentences
from rig.study.folder.journal import Confirmation, Correction, Entry, Reading, Withdrawal
from rig.study.folder.study import Study, open_study, own_files, runs_in
from rig.study.plan.evening import series_of
from rig.study.plan.trial import Scatter
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, run_files, slide_table
from rig.study.treatments import any_thin, cautions

SHOWN = 40
"""Things done that are listed."""
NEWEST = 8
"""Run files that are looked at for a change; the number of all is as well."""
AIR_KEEPS = timedelta(hours=3)

F = TypeVar("F", bound=forms.Form)
Said = dict[str, Any]


class Book:
    """One study folder.

    Args:
        path: of the study.
        by_hand: there is no rig.
        utc_now: tells the time; where the study lies in a twin's home, that goes by the twin's.
    """

    def __init__(
        self,
        path: Path,
        *,
        by_hand: bool,
        utc_now: Callable[[], datetime] | None = None,
    ) -> None:
        self.path = path
        self._by_hand = by_hand
        self._utc_now = utc_now or (lambda: now_in(path))
        self._lock = threading.Lock()
        self._judged: dict[str, tuple[int, str]] = {}

    def version(self, *, is_busy: bool = False) -> str:
        """Changes with every file that the study is made of, a run under way left out."""
        runs = runs_in(self.path)
        whole = runs[:-1] if is_busy else runs
        stats = [file.stat() for file in (*own_files(self.path), *whole[-NEWEST:])]
        return f"{len(runs)}-" + "-".join(f"{one.st_mtime_ns:x}.{one.st_size:x}" for one in stats)

    # -- writing --------------------------------------------------------------------------------

    def reading(self, form: forms.ReadingForm, answer: Said | None) -> Said:
        """Note slide angles."""
        entries = self.once(form, lambda study, at: [writes.reading(study, form, at)])
        entry = entries[0]
        text = f"Noted: {writes.said(entry)}."
        if isinstance(entry, Reading) and (shift := self._shift(entry, answer)):
            text += f" {shift}"
        return {"text": text}

    def treat(self, form: forms.TreatForm, answer: Said | None) -> Said:
        """Note a treatment; before that, say what it costs."""
        study = open_study(self.path)
        slides = slide_table(study).slides
        if not form.sure:
            with self._lock:
                if not _with_key(study, form.key):
                    writes.treatments(study, form, slides, self._now())
            steps = study.catalogue.treatments[form.recipe].steps
            costs = cost_sentences(form.bags, slides, _scatter_in(answer))
            return {"ask": [*costs, *cautions(steps, any_thin(study, form.bags))]}
        self.once(form, lambda study, at: writes.treatments(study, form, slides, at))
        return {"text": f"Noted: {form.recipe} on {', '.join(form.bags)}."}

    def play(self, form: forms.PlayForm) -> Said:
        """Note throws."""
        self.once(form, lambda study, at: writes.plays(study, form, at))
        return {"text": f"Noted: {form.throws} throws of {', '.join(form.bags)}."}

    def mass(self, form: forms.MassForm) -> Said:
        """Note a weighing."""
        return self._note(form, lambda study, at: writes.mass(study, form, at))

    def droop(self, form: forms.DroopForm) -> Said:
        """Note droop angles."""
        return self._note(form, lambda study, at: writes.droop(study, form, at))

    def wipe(self, form: forms.WipeForm) -> Said:
        """Note that a board was wiped."""
        return self._note(form, lambda study, at: writes.wipe(study, form, at))

    def correct(self, form: forms.CorrectForm) -> Said:
        """Put a slide right."""
        self.once(form, lambda study, at: [writes.correction(study, form, at)])
        return {"text": "Put right."}

    def undo(self, form: forms.UndoForm) -> Said:
        """Take back all that one tap wrote."""

        def entries(study: Study, at: str) -> list[Entry]:
            old = next((e for e in study.journal.standing() if e.line == form.line), None)
            if old is None:
                raise BadInputError("That line does not count any more; open the page again.")
            lines = [e.line for e in study.journal.standing() if e.key == old.key and old.key]
            return [
                writes.withdrawal(form, at, line) for line in (lines if old.key else [old.line])
            ]

        self.once(form, entries)
        return {"text": "Taken back. The line stays in the journal and does not count."}

    def add(self, form: forms.BagForm | forms.BoardForm) -> Said:
        """Add to the catalogue."""
        with self._lock:
            study = open_study(self.path)
            if isinstance(form, forms.BagForm):
                return {"text": writes.add_bag(study, form)}
            return {"text": writes.add_board(study, form)}

    def _note(self, form: F, entry: Callable[[Study, str], Entry]) -> Said:
        (written,) = self.once(form, lambda study, at: [entry(study, at)])
        return {"text": f"Noted: {writes.said(written)}."}

    def once(
        self, form: forms.Form, entries: Callable[[Study, str], Sequence[Entry]]
    ) -> Sequence[Entry]:
        """Write lines, if there are any and no request with this key has written them already."""
        with self._lock:
            study = open_study(self.path)
            written = _with_key(study, form.key)
            if written:
                return written
            now = self._utc_now()
            lines = entries(study, utc_text(now))
            return study.note(*lines, now=now) if lines else []

    def _now(self) -> str:
        return utc_text(self._utc_now())

    # -- series on the rig ----------------------------------------------------------------------

    def series(self, form: forms.MeasureForm) -> list[StudySeries]:
        """The series that were asked for, by the plan where they stand in it.

        Raises:
            BadInputError: a bag, face or board is unknown.
        """
        study = open_study(self.path)
        study.check_board(form.board)
        for bag, face in form.rows:
            study.check_face(bag, face)
        table = slide_table(study)
        now = self._utc_now()
        planned = tonight_of(study, table, form.board, now, by_hand=False)
        found: list[StudySeries] = []
        for bag, face in form.rows:
            mine = [row for row in planned.rows if (row.bag, row.face) == (bag, face)]
            if mine:  # a plan may have one face twice in a session
                row = mine[0]
                planned.rows.remove(row)
            else:
                runs = study.catalogue.preferences.runs_per_series
                rows = series_of(study, [bag], form.board, runs, None, now)
                row = next(one for one in rows if one.face == face)
            # Within a session the bags have been in the planned air already.
            steady_s = 0.0 if found else ANY_STEADY.steady_s
            found.append(study_series(study, row, table.of_rig, steady_s=steady_s))
        return found

    # -- looking --------------------------------------------------------------------------------

    def document(self, answer: Said | None, *, is_busy: bool = False) -> Said:
        """All that the page shows of the study; the run under way does not count as a slide yet."""
        study = open_study(self.path)
        table = _without_open_run(study) if is_busy else slide_table(study)
        now = self._utc_now()
        board = _last_board(study, table)
        tonight = tonight_of(study, table, board, now, by_hand=self._by_hand)
        readings = study.journal.of(Reading)
        catalogue = study.catalogue
        return {
            "name": catalogue.name,
            "by_hand": self._by_hand,
            "bags": [
                {
                    "name": name,
                    "set": bag.set or "",
                    "faces": list(bag.faces),
                    "role": bag.role,
                    "stage": study.stage_at(name),
                }
                for name, bag in catalogue.bags.items()
            ],
            "boards": list(catalogue.boards),
            "board": board or "",
            "reader": readings[-1].reader if readings else "",
            "air": _last_air(readings, now),
            "recipes": list(catalogue.treatments),
            "rows": [
                {
                    "bag": row.bag,
                    "face": row.face,
                    "board": row.board,
                    "left": row.runs,
                    "how": place_words(study, row),
                    "wipe": tonight.wipes.get(row.row, ""),
                }
                for row in tonight.rows
            ],
            "treat": tonight.treat,
            "planned": tonight.is_planned,
            "minutes": round(tonight.minutes),
            "done": _done(study, table),
            "last": self._last(study, table, answer),
            "problems": [*table.blocked.values(), *table.problems][:3],
        }

    def _last(self, study: Study, table: SlideTable, answer: Said | None) -> Said | None:
        """The newest series, and whether it is far from what was expected of it."""
        valid = table.valid
        if not valid:
            return None
        newest = valid[-1]
        slides = [one for one in valid if (one.series, one.bag) == (newest.series, newest.bag)]
        angles = [one.onset_angle_deg for one in slides if one.onset_angle_deg is not None]
        name = f"{newest.bag}, {newest.face}"
        return {
            "id": f"{newest.series}",
            "bag": newest.bag,
            "face": newest.face,
            "runs": [one.slide_id for one in slides if one.run_file],
            "line": newest.line or 0,
            "text": f"{name}: {', '.join(fixed(one, 1) for one in angles)}°",
            "question": self._question(study, slides, angles, answer),
        }

    def _question(
        self, study: Study, slides: Sequence[Slide], angles: Sequence[float], answer: Said | None
    ) -> str:
        """Asked of a series by an answer that did not know it yet; kept when the next one does."""
        first = slides[0]
        key = f"{first.series} {first.bag} {first.face}"
        treated = study.journal.treatments_of(first.bag or "")
        bag = _bag_in(answer, first.bag, first.face)
        knows = answer.get("as_of", "") if answer else ""
        is_fit = bag is not None and (treated[-1].at if treated else "") <= knows < first.at
        scatter = _scatter_in(answer)
        if is_fit and bag is not None and scatter is not None:
            self._judged[key] = (len(slides), surprise(bag, scatter, angles))
        n_judged, text = self._judged.get(key, (0, ""))
        return text if n_judged else ""

    def _shift(self, entry: Reading, answer: Said | None) -> str:
        """What readings of the pick say about the day's board."""
        if answer is None or answer.get("pick") != [entry.bag, entry.face]:
            return ""
        pick = _bag_in(answer, entry.bag, entry.face)
        return "" if pick is None else shift_words(_bags_in(answer), pick, median(entry.angles_deg))


def _without_open_run(study: Study) -> SlideTable:
    """The table without the newest run file where that has no end yet."""
    table = slide_table(study)
    open_run = next(iter(run_files(study)[:-2:-1]), None)
    if open_run is None:
        return table
    place = open_run.relative_to(study.path).as_posix()
    slides = [s for s in table.slides if s.run_file != place or s.outcome != "interrupted"]
    if len(slides) == len(table.slides):
        return table
    problems = [one for one in table.problems if open_run.name not in one]
    return table._replace(slides=slides, problems=problems)


def _bags_in(answer: Said | None) -> list[Expected]:
    return [] if answer is None else msgspec.convert(answer.get("bags", []), list[Expected])


def _bag_in(answer: Said | None, bag: str | None, face: str | None) -> Expected | None:
    return next((one for one in _bags_in(answer) if (one.bag, one.face) == (bag, face)), None)


def _scatter_in(answer: Said | None) -> Scatter | None:
    found = answer.get("scatter") if answer else None
    return None if found is None else msgspec.convert(found, Scatter)


def _with_key(study: Study, key: str) -> list[Entry]:
    """What a request with this key has written, whatever became of it."""
    return [entry for entry in study.journal.lines if entry.key == key]


def _last_board(study: Study, table: SlideTable) -> str | None:
    used = [slide.board for slide in table.slides if slide.board in study.catalogue.boards]
    return used[-1] if used else next(iter(study.catalogue.boards), None)


def _last_air(readings: Sequence[Reading], now: datetime) -> list[str]:
    """As it was typed for the last reading; after hours it has changed."""
    if not readings or parse_utc(readings[-1].at) < now - AIR_KEEPS:
        return ["", ""]
    last = readings[-1]
    values = (last.temperature_c, last.relative_humidity_pct)
    return ["" if value is None else f"{value:g}" for value in values]


def _done(study: Study, table: SlideTable) -> list[Said]:
    """What was done, newest first; what one tap wrote is one thing."""
    found: dict[str, Said] = {}
    for entry in study.journal.standing():
        if isinstance(entry, Confirmation | Withdrawal):
            continue
        key = str(entry.key) if entry.key else f"line {entry.line}"
        if key in found:
            found[key]["text"] += f"; {writes.said(entry)}"
            continue
        found[key] = {
            "at": entry.at,
            "text": writes.said(entry),
            "line": entry.line,
            "run": "",
            "bag": getattr(entry, "bag", None) or "",
            "face": getattr(entry, "face", None) or "",
            "is": "reading" if isinstance(entry, Reading) else "line",
        }
    corrected = {run for entry in study.journal.of(Correction) for run in entry.runs}
    for slide in table.of_rig:
        if not slide.at:
            continue
        angle = "no angle" if slide.onset_angle_deg is None else f"{slide.onset_angle_deg:.1f}°"
        out = "" if slide.valid else f", left out ({slide.void or ', '.join(slide.flags) or '–'})"
        found[slide.slide_id] = {
            "at": slide.at,
            "text": f"{slide.bag}, {slide.face}: {angle}{out}",
            "line": 0,
            "run": "" if slide.slide_id in corrected else slide.slide_id,
            "bag": slide.bag or "",
            "face": slide.face or "",
            "is": "run",
        }
    return sorted(found.values(), key=lambda one: (one["at"], one["line"]))[::-1][:SHOWN]
