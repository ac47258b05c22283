"""From what a page sends to lines of the journal: checked as the commands check it."""

from collections.abc import Sequence

import msgspec
from msgspec import UNSET, UnsetType

from rig.errors import BadInputError
from rig.panel.study import forms
from rig.quantities.figures import fixed
from rig.quantities.typed import quantity
from rig.study.folder.catalogue import Bag, Board
from rig.study.folder.catalogue_file import add_table
from rig.study.folder.journal import (
    ByPhone,
    Correction,
    Droop,
    Entry,
    Mass,
    Play,
    Reading,
    Treatment,
    Wipe,
    Withdrawal,
)
from rig.study.folder.ranges import (
    AIR_C,
    HUMIDITY_PCT,
    MASS_G,
    OVERHANG_MM,
    READ_DEG,
    THROWS,
    Allowed,
)
from rig.study.folder.study import Study
from rig.study.plan.progress import open_wipe
from rig.study.slides.sitting import sitting
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table
from rig.study.treatments import check_treatment, next_stage

WHY = "on the page"
"""The note of a line that takes another one back; the page asks for no reason."""


def reading(study: Study, form: forms.ReadingForm, at: str) -> Reading:
    """Slide angles read by hand."""
    study.check_face(form.bag, form.face)
    study.check_board(form.board)
    return noted(study, form, at, _angles(form.angles))


def noted(
    study: Study,
    form: forms.ReadForm,
    at: str,
    angles_deg: tuple[float, ...],
    phone: ByPhone | UnsetType = UNSET,
) -> Reading:
    """The line of the journal for slide angles that a person, or a person's phone, has read."""
    temperature_c, humidity_pct = air_of(form.temperature, form.humidity, AIR_C)
    return Reading(
        at=at,
        bag=form.bag,
        face=form.face,
        board=form.board,
        reader=form.reader,
        angles_deg=angles_deg,
        temperature_c=temperature_c,
        relative_humidity_pct=humidity_pct,
        climate_source=None if humidity_pct is None else "typed",
        stage=study.stage_at(form.bag, at),
        session=sitting(study, at),
        key=form.key,
        phone=phone,
    )


def air_of(temperature: str, humidity: str, within: Allowed) -> tuple[float | None, float | None]:
    """Temperature in °C, `within` a range, and humidity in %; None where nothing was typed."""
    return (
        quantity("The temperature", temperature, *within).value if temperature else None,
        quantity("The humidity", humidity, *HUMIDITY_PCT).value if humidity else None,
    )


def _angles(texts: Sequence[str]) -> tuple[float, ...]:
    return tuple(quantity("An angle", text, *READ_DEG).value for text in texts)


def treatments(
    study: Study, form: forms.TreatForm, slides: Sequence[Slide], at: str
) -> list[Treatment]:
    """One line for each bag."""
    study.check_treatment(form.recipe)
    entries = []
    for bag in dict.fromkeys(form.bags):
        study.bag(bag)
        entry = Treatment(
            at=at,
            bag=bag,
            stage=next_stage(study, bag),
            recipe=form.recipe,
            steps=study.catalogue.treatments[form.recipe].steps,
            key=form.key,
        )
        check_treatment(study, entry, slides, form.anyway, force=form.anyway)
        entries.append(entry)
    return entries


def plays(study: Study, form: forms.PlayForm, at: str) -> list[Play]:
    """One line for each bag."""
    throws = quantity("The number of throws", form.throws, *THROWS).value
    bags = list(dict.fromkeys(form.bags))
    for bag in bags:
        study.bag(bag)
    return [Play(at=at, bag=bag, throws=round(throws), key=form.key) for bag in bags]


def mass(study: Study, form: forms.MassForm, at: str) -> Mass:
    """A weighing."""
    study.bag(form.bag)
    mass_g = quantity("The mass", form.grams, *MASS_G).value
    return Mass(at=at, bag=form.bag, mass_g=mass_g, key=form.key)


def droop(study: Study, form: forms.DroopForm, at: str) -> Droop:
    """Angles of a bag over an edge."""
    study.check_face(form.bag, form.face)
    return Droop(
        at=at,
        bag=form.bag,
        face=form.face,
        overhang_mm=quantity("The overhang", form.overhang, *OVERHANG_MM).value,
        angles_deg=_angles(form.angles),
        reader=form.reader,
        stage=study.stage_at(form.bag, at),
        session=sitting(study, at),
        key=form.key,
    )


def wipe(study: Study, form: forms.WipeForm, at: str) -> Wipe:
    """A board was wiped; the plan's next wipe of it counts as done."""
    study.check_board(form.board)
    series = open_wipe(study, form.board) if study.plan_path.exists() else None
    return Wipe(at=at, board=form.board, series=series, key=form.key)


def correction(study: Study, form: forms.CorrectForm, at: str) -> Correction | Reading | Withdrawal:
    """For a run a line about it; for readings a new line in the place of the old one."""
    if bool(form.run) == bool(form.line) or not (form.bag or form.face or form.void):
        raise BadInputError("Name a run or a line, and what is right about it.")
    if form.line:
        return _of_line(study, form, at)
    slide = next((s for s in slide_table(study).of_rig if s.slide_id == form.run), None)
    if slide is None:
        raise BadInputError("That run is not in the study; open the page again.")
    if form.bag or form.face:
        study.check_face(form.bag or slide.bag or "", form.face or slide.face or "")
    return Correction(
        at=at,
        runs=(form.run,),
        bag=form.bag or None,
        face=form.face or None,
        void=form.void,
        note=WHY,
        key=form.key,
    )


def _of_line(study: Study, form: forms.CorrectForm, at: str) -> Reading | Withdrawal:
    old = next((e for e in study.journal.of(Reading) if e.line == form.line), None)
    if old is None:
        raise BadInputError(f"Line {form.line} has no readings that count; open the page again.")
    if form.void:
        return Withdrawal(at=at, replaces=form.line, note=WHY, key=form.key)
    bag, face = form.bag or old.bag, form.face or old.face
    study.check_face(bag, face)
    stage = study.stage_at(bag, old.at)
    changed = {"bag": bag, "face": face, "stage": stage, "replaces": form.line, "key": form.key}
    return msgspec.structs.replace(old, **changed)


def withdrawal(form: forms.UndoForm, at: str, line: int) -> Withdrawal:
    """A line does not count."""
    return Withdrawal(at=at, replaces=line, note=WHY, key=form.key)


def add_bag(study: Study, form: forms.BagForm) -> str:
    """A bag into the catalogue; what a retry finds there already is left alone."""
    if form.name in study.catalogue.bags:
        return f"{form.name} is in the study already."
    add_table(study.catalogue_path, "bags", form.name, Bag(set=form.set or None))
    return f"{form.name} is in the study now."


def add_board(study: Study, form: forms.BoardForm) -> str:
    """A board into the catalogue."""
    if form.name in study.catalogue.boards:
        return f"{form.name} is in the study already."
    add_table(study.catalogue_path, "boards", form.name, Board())
    return f"{form.name} is in the study now."


def said(entry: Entry) -> str:
    """What a line of the journal says, for the list of what was done."""
    match entry:
        case Reading():
            angles = ", ".join(fixed(one, 1) for one in entry.angles_deg)
            how = "" if entry.phone is UNSET else " with a phone"
            return f"{entry.bag}, {entry.face}: {angles}° on {entry.board}, by {entry.reader}{how}"
        case Treatment():
            what = entry.recipe or ", ".join(step.action for step in entry.steps)
            return f"{entry.bag}: {what}"
        case Play():
            return f"{entry.bag}: {entry.throws} throws"
        case Mass():
            return f"{entry.bag}: {fixed(entry.mass_g, 1)} g"
        case Droop():
            angles = ", ".join(fixed(one, 1) for one in entry.angles_deg)
            return f"{entry.bag}, {entry.face} up: drooped {angles}°"
        case Wipe():
            return f"Wiped {entry.board}"
        case Correction():
            now = ", ".join(filter(None, (entry.bag, entry.face, entry.board)))
            return "A slide taken out" if entry.void else f"A slide was of {now}"
        case _:
            return ""
