"""Readings from a file: what must be there, and how they are read."""

import msgspec
import pytest

from rig.calibration.plan import (
    WAYS,
    CountsReading,
    LevelPlan,
    Position,
    SpanPoint,
    ZeroReadings,
)
from rig.calibration.reference import SineBar
from rig.errors import BadInputError
from rig.procedures.level.person import FilePerson

ZERO = ZeroReadings(along=(1.0, -3.0), across=(2.0, -4.0), unit="mrad")
POINTS = (
    SpanPoint(angle_deg=12.0, shown=11.5),
    SpanPoint(angle_deg=20.0, shown=36.4, unit="%", across_deg=0.3),
)
PLAN = LevelPlan(reference="digital", zero=ZERO, span=POINTS)
BAR = SineBar(40.0, 200.0)


def test_readings_are_read_in_their_units() -> None:
    person = FilePerson(PLAN)
    # 1 mrad is 0.0573°.
    along = [person.level_deg("along", turned) for turned in (False, True)]
    across = [person.level_deg("across", turned) for turned in (False, True)]
    assert along + across == pytest.approx([0.0573, -0.1719, 0.1146, -0.2292], abs=1e-4)
    assert person.shown_deg(POINTS[0], 12.0) == 11.5
    assert person.shown_deg(POINTS[1], 20.0) == pytest.approx(20.0, abs=0.01)
    assert [person.across_deg(point) for point in POINTS] == [None, 0.3]
    assert person.go_on("zero", "") == "on"


def test_the_bubble_is_centred_where_the_file_says() -> None:
    person = FilePerson(PLAN)
    assert person.bubble_deg(BAR, POINTS[0], 11.9) == pytest.approx(0.1)
    assert person.bubble_deg(BAR, POINTS[0], 12.1) == pytest.approx(-0.1)


def replaced(**changes: object) -> LevelPlan:
    return msgspec.structs.replace(PLAN, **changes)


HELD = tuple(
    Position(up=way, counts=(float(i), 0.0, 0.0), temperature_c=20.0) for i, way in enumerate(WAYS)
)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"zero": None}, r"\[zero\] table"),
        ({"span": ()}, r"\[\[span\]\]"),
        ({"span": (*POINTS, SpanPoint(angle_deg=30.0))}, "at 30° has no `shown`"),
        ({"span": (SpanPoint(angle_deg=20.0, shown=36.4),)}, "looks like %"),
        ({"six": True, "positions": HELD[:5]}, r"with up = '-z'"),
        ({"second_temperature": True}, r"no \[warm\] table"),
    ],
)
def test_what_is_missing_is_named_before_anything_moves(
    changes: dict[str, object], words: str
) -> None:
    with pytest.raises(BadInputError, match=words):
        FilePerson(replaced(**changes))


def test_a_sine_bar_needs_no_shown_readings() -> None:
    FilePerson(replaced(reference="sine-bar", span=(SpanPoint(angle_deg=30.0),)))


def test_captures_of_a_file_stand_in_for_those_of_the_sensor() -> None:
    warm = CountsReading(counts=(1.0, 2.0, 3.0), temperature_c=40.0)
    person = FilePerson(replaced(six=True, positions=HELD, second_temperature=True, warm=warm))
    assert [person.position(held.up) for held in HELD] == [held.rest() for held in HELD]
    assert person.warmed(20.0) == warm.rest()
