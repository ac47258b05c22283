"""Builds the slide table from run files and the journal."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from rig.analysis.climate import surface_humidity_pct
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.files.checked import unchecked_words
from rig.files.names import composed
from rig.files.stamps import parse_utc, utc_text
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.journal import Correction, Reading, Treatment
from rig.study.folder.study import Study, runs_in
from rig.study.slides.by_phone import Lifted, lifted, phone_of
from rig.study.slides.look import Contents, Kept
from rig.study.slides.results import results_of
from rig.study.slides.slide import Applied, Slide


class SlideTable(NamedTuple):
    """All slides of a study in order of time, and sentences about what can't be used."""

    slides: list[Slide]
    problems: list[str]
    blocked: dict[str | None, str]
    """Bag → why answers about it must wait; None stands for every bag."""
    unchecked: str = ""
    """The sentence about what was written without a check; empty if nothing was."""

    @property
    def valid(self) -> list[Slide]:
        """The slides that count, without those that only check the material."""
        return [slide for slide in self.slides if slide.valid and slide.purpose != "check"]

    @property
    def of_rig(self) -> list[Slide]:
        """The rows that run files gave, also those that don't count."""
        return [slide for slide in self.slides if slide.run_file]

    @property
    def is_simulated(self) -> bool:
        """A slide that counts is the twin's, so an answer from these is not a measurement."""
        return any(slide.source == "twin" for slide in self.valid)

    def check_answers(self) -> None:
        """Raise BadInputError if no answer at all can be trusted."""
        if None in self.blocked:
            raise BadInputError(self.blocked[None])


def slide_table(
    study: Study, calibration: Calibration | None = None, contents: Contents | None = None
) -> SlideTable:
    """Read all that a study has measured.

    Args:
        study: opened afresh.
        calibration: used instead of those in the run files.
        contents: gets the bytes of the run files.

    Raises:
        BadInputError: the folder of runs can't be read.
    """
    return table_of(study, results_of(run_files(study), study.path, calibration, contents))


def run_files(study: Study) -> list[Path]:
    """The run files of a study, in order of their names."""
    return runs_in(study.path)


def table_of(study: Study, kept: Mapping[Path, Kept]) -> SlideTable:
    """The table from what is known of each run file."""
    corrections = _corrections(study)
    rows = [
        _corrected(slide_of(path.relative_to(study.path), one), corrections, study)
        for path, one in kept.items()
    ]
    phones = lifted(study, rows)
    rows += [row for one in study.journal.of(Reading) for row in _from_reading(one, phones)]
    rows.sort(key=lambda row: (row.at, row.slide_id))
    problems = [problem for one in kept.values() for problem in one.problems]
    problems += _unknown_runs(rows, corrections)
    blocked = {doubt.bag: doubt.sentence for doubt in study.journal.doubts}
    return SlideTable(
        _with_history(rows, study),
        [*study.journal.problems, *problems],
        blocked,
        unchecked_words(sum(one.is_unchecked for one in kept.values()), study.journal.unchecked),
    )


def slide_of(path: Path, kept: Kept) -> Slide:
    """The slide of a run file, whose place is within the study."""
    run_file = path.as_posix()
    result = kept.result
    if result is None:
        return Slide(
            slide_id=path.name, source=None, at="", run_file=run_file, problems=kept.problems
        )
    surface = result.surface_humidity_pct
    return Slide(
        slide_id=result.run_id,
        source=kept.source,
        at=_stamp(kept.started_at),
        run_file=run_file,
        rig=kept.rig,
        operator=kept.operator,
        bag=_composed(result.bag),
        set=result.set,
        face=_composed(result.face),
        board=_composed(result.board),
        session=result.session,
        series=result.series,
        slide_number=result.slide_number,
        stage=result.treatment_stage,
        bag_mass_g=kept.bag_mass_g,
        approach=kept.approach,
        conditioned_h=kept.conditioned_h,
        temperature_c=result.temperature_c,
        relative_humidity_pct=result.relative_humidity_pct,
        # Without a board temperature the surface is taken to be as warm as the air.
        surface_humidity_pct=result.relative_humidity_pct if surface is None else surface,
        rate_deg_s=result.rate_deg_s,
        onset_angle_deg=result.onset_angle_deg,
        u_onset_angle_deg=result.u_onset_angle_deg,
        method=result.method,
        purpose=result.purpose,
        outcome=result.outcome,
        flags=tuple(result.flags),
        valid=result.valid and result.onset_angle_deg is not None,
        slid=result.outcome == "slid" or "stalled_in_slide" in result.flags,
        result=result,
        home=kept.home,
        problems=kept.problems,
    )


def _composed(name: str | None) -> str | None:
    return None if name is None else composed(name)


def _stamp(started_at: str) -> str:
    try:
        return utc_text(parse_utc(started_at))
    except ValueError:
        return ""


def _from_reading(reading: Reading, phones: Mapping[int, Lifted]) -> Iterable[Slide]:
    t, rh, board_t = (
        reading.temperature_c,
        reading.relative_humidity_pct,
        reading.board_temperature_c,
    )
    surface = rh
    if t is not None and rh is not None and board_t is not None:
        surface = min(surface_humidity_pct(t, rh, board_t), 100.0)
    for number, angle in enumerate(reading.angles_deg, start=1):
        row = Slide(
            slide_id=f"line {reading.line}.{number}",
            source="hand",
            at=reading.at,
            line=reading.line,
            reader=reading.reader,
            operator=reading.operator,
            bag=reading.bag,
            face=reading.face,
            board=reading.board,
            session=reading.session,
            series=f"by hand, line {reading.line}",
            slide_number=number,
            stage=reading.stage,
            temperature_c=t,
            relative_humidity_pct=rh,
            surface_humidity_pct=surface,
            onset_angle_deg=angle,
            outcome="slid",
            valid=True,
            slid=True,
        )
        yield row if reading.phone is UNSET else _by_phone(row, reading, phones[reading.line])


def _by_phone(row: Slide, reading: Reading, lift: Lifted) -> Slide:
    phone, slide = phone_of(reading), lift.slide
    return msgspec.structs.replace(
        row,
        series=f"by phone, {phone.series}",
        slide_number=lift.slide_number,
        method=f"by phone, {phone.pace_deg_s:g} °/s",
        rate_deg_s=phone.rate_deg_s,
        trace=phone.trace,
        onset_angle_deg=slide.angle_deg,
        u_onset_angle_deg=slide.layers.u_deg,
        u_sensor_deg=slide.layers.sensor,
        u_zero_deg=slide.layers.zero,
        u_tap_deg=slide.layers.tap,
        u_rate_deg=slide.layers.rate,
        u_random_deg=slide.u_random_deg,
    )


def _corrections(study: Study) -> dict[str, Correction]:
    """Run → what the journal says of it; the latest line about a run counts."""
    return {run: entry for entry in study.journal.of(Correction) for run in entry.runs}


def _corrected(row: Slide, corrections: dict[str, Correction], study: Study) -> Slide:
    entry = corrections.get(row.slide_id)
    if entry is None:
        return row
    who: dict[str, Any] = {
        name: value for name in ("bag", "face", "board") if (value := getattr(entry, name))
    }
    if entry.bag and entry.bag != row.bag:
        known = study.catalogue.bags.get(entry.bag)
        who["set"] = None if known is None else known.set
    valid = row.valid and not entry.void
    result = row.result
    if result is not None:
        # The stage in the file is that of the bag that was meant.
        other = {"treatment_stage": None} if "set" in who else {}
        result = msgspec.structs.replace(result, **who, **other, valid=valid)
    return msgspec.structs.replace(
        row,
        **who,
        stage=None if "set" in who else row.stage,
        valid=valid,
        void=(entry.note or "taken out") if entry.void else "",
        result=result,
    )


def _unknown_runs(rows: Sequence[Slide], corrections: dict[str, Correction]) -> list[str]:
    missing = corrections.keys() - {row.slide_id for row in rows}
    return [
        f"Line {corrections[run].line} of the journal corrects the run {run}, which is not there."
        for run in sorted(missing)
    ]


def _with_history(rows: Sequence[Slide], study: Study) -> list[Slide]:
    """Add what each bag had been through before each slide."""
    worn: dict[tuple[str | None, str | None], int] = {}
    done = {name: study.journal.treatments_of(name) for name in study.catalogue.bags}
    is_noted = any(isinstance(entry, Treatment) for entry in study.journal.lines)
    full = []
    for row in rows:
        bag = study.catalogue.bags.get(row.bag or "")
        face = (row.bag, row.face)
        before = worn.setdefault(face, 0 if bag is None else bag.slides_before)
        worn[face] = before + row.slid
        full.append(
            msgspec.structs.replace(
                row,
                model=None if bag is None else bag.model,
                set=row.set or (None if bag is None else bag.set),
                role=None if bag is None else bag.role,
                planned_treatment=None if bag is None else bag.treatment,
                slides_before=before,
                stage=_stage(row, study, is_noted=is_noted),
                treatments=tuple(
                    Applied(one.recipe, one.steps, one.at, one.line)
                    for one in done.get(row.bag or "", ())
                    if one.is_by(row.at, row.line)
                ),
            )
        )
    return full


def _stage(row: Slide, study: Study, *, is_noted: bool) -> str:
    """By the journal; by the file only where no treatment of the study was ever noted."""
    if row.bag in study.catalogue.bags and (is_noted or row.stage is None):
        return study.stage_at(row.bag or "", row.at, row.line)
    return row.stage or BASELINE
