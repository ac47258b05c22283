"""Bags to be matched and readings of today, as a person types them."""

from collections.abc import Sequence

from rig.errors import BadInputError
from rig.files.names import safe_name
from rig.files.stamps import utc_text
from rig.files.time_here import now_in
from rig.quantities.typed import number, quantity
from rig.study.answer.answer import DayAir
from rig.study.answer.ask import Like, air_at
from rig.study.folder.ranges import ASKED_AIR_C, HUMIDITY_PCT
from rig.study.folder.study import Study
from rig.study.slides.slide import Applied, Slide

TODAY = "today"


def like_of(text: str) -> Like:
    """`BAG/FACE[@BOARD][:T,RH]`.

    Raises:
        BadInputError: it has another form.
    """
    name, _, air = text.partition(":")
    who, _, board = name.partition("@")
    bag, _, face = who.rpartition("/")
    warm, comma, damp = air.partition(",")
    if not bag or not face or bool(air) != bool(comma) or "," in damp:
        raise BadInputError(
            f"{text!r} names no bag to be like; write BAG/FACE@BOARD:TEMPERATURE,HUMIDITY, such"
            " as 'Heron 1/slick@oak:23,50' (board and air may be left out)."
        )
    there = None
    if air:
        there = air_at(
            quantity("The temperature of --like", warm, *ASKED_AIR_C).value,
            quantity("The humidity of --like", damp, *HUMIDITY_PCT).value,
        )
    board = safe_name(board, "board") if board else ""
    return Like(safe_name(bag, "bag"), safe_name(face, "face"), board or None, there)


def slides_of(
    texts: Sequence[str], study: Study, board: str | None, air: DayAir | None, reader: str | None
) -> list[Slide]:
    """Readings of today, `BAG/FACE=ANGLE,ANGLE…`, as slides that no file keeps.

    Raises:
        BadInputError: a reading has another form, or the study does not know the bag.
    """
    at = utc_text(now_in(study.path))
    found = []
    for place, text in enumerate(texts, start=1):
        bag, face, angles = _reading(text)
        study.check_face(bag, face)
        about = study.catalogue.bags[bag]
        done = study.journal.treatments_of(bag)
        found += [
            Slide(
                slide_id=f"{TODAY} {place}.{i}",
                source="hand",
                at=at,
                reader=reader or "a reader today",
                bag=bag,
                model=about.model,
                set=about.set,
                face=face,
                board=board,
                role=about.role,
                session=TODAY,
                series=f"{TODAY} {place}",
                slide_number=i,
                treatments=tuple(Applied(t.recipe, t.steps, t.at, t.line) for t in done),
                temperature_c=None if air is None else air.temperature_c,
                relative_humidity_pct=None if air is None else air.relative_humidity_pct,
                surface_humidity_pct=None if air is None else air.surface_humidity_pct,
                onset_angle_deg=angle,
                outcome="slid",
                valid=True,
                slid=True,
            )
            for i, angle in enumerate(angles, start=1)
        ]
    return found


def _reading(text: str) -> tuple[str, str, list[float]]:
    who, _, values = text.partition("=")
    bag, _, face = who.rpartition("/")
    angles = [number("--reading", part) for part in values.split(",")]
    sound = [one for one in angles if one is not None and 0.0 < one < 90.0]
    if not bag or not face or len(sound) != len(angles):
        raise BadInputError(
            f"{text!r} is not a reading; write BAG/FACE=ANGLE,ANGLE in degrees, such as"
            " 'Heron 1/slick=21.5,22,21'."
        )
    return safe_name(bag, "bag"), safe_name(face, "face"), sound
