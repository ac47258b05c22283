import math

import pytest

from rig.calibration.reference import (
    SineBar,
    Turned,
    check_against_steps,
    digital_reading,
    rectangular,
    to_deg,
    turned_level,
)
from rig.errors import BadInputError


def test_turning_the_level_separates_slope_and_own_error() -> None:
    # A slope of 0.30° and a level that shows 0.10° too much uphill as first laid down.
    found = turned_level(0.40, 0.20, resolution_deg=0.05)
    assert found.slope_deg == pytest.approx(0.30)
    assert found.own_error_deg == pytest.approx(0.10)
    # A resolution of 0.05° is ±0.025°, rectangular; the mean of two has 1/√2 of its u.
    assert found.u_slope_deg == pytest.approx(0.025 / math.sqrt(3) / math.sqrt(2))


@pytest.mark.parametrize(
    ("first", "turned", "words"),
    [
        (8.7, 8.4, "another unit"),  # 0.5° read in mm/m
        (-0.2, 4.0, "level it first"),
        (0.8, -0.6, "sign both by which end"),  # signed by the level's display
        (float("nan"), 0.0, "not a number"),
    ],
)
def test_readings_that_cannot_be(first: float, turned: float, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        turned_level(first, turned, resolution_deg=0.05)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("where", ["along", "across"])
def test_readings_of_a_level_board_have_limits(sign: float, where: str) -> None:
    turned_level(3.0 * sign, 2.5 * sign, resolution_deg=0.05, where=where)
    for readings in ((3.1 * sign, 2.5 * sign), (2.5 * sign, 3.1 * sign)):
        with pytest.raises(BadInputError, match=f"reading {sign * 3.1:g} {where} is more than 3°"):
            turned_level(*readings, resolution_deg=0.05, where=where)
    turned_level(0.5 * sign, -0.5 * sign, resolution_deg=0.05, where=where)
    with pytest.raises(BadInputError, match=f"{where} mean that the level.s own error is 0.51°"):
        turned_level(0.51 * sign, -0.51 * sign, resolution_deg=0.05, where=where)


@pytest.mark.parametrize("turned", [False, True])
def test_both_readings_must_be_numbers(turned: bool) -> None:
    readings = (0.1, math.inf) if turned else (math.nan, 0.1)
    with pytest.raises(BadInputError, match="not a number"):
        turned_level(*readings, resolution_deg=0.05)


@pytest.mark.parametrize(
    ("shown", "steps", "words"),
    [
        (-20.3, 20.0, "wrong sign"),
        (364.0, 20.0, "looks like mm/m"),
        (36.4, 20.0, "looks like %"),
        (1212.0, 20.2, "arcmin"),
        (69.9, 20.0, "angle to the vertical"),
        (27.0, 20.0, "read it again"),
        (float("inf"), 20.0, "not a number"),
    ],
)
def test_a_wrong_unit_or_direction_is_recognised(shown: float, steps: float, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        check_against_steps(shown, steps)


@pytest.mark.parametrize(
    ("near", "words"),
    [
        ((18.1, 21.9), None),
        ((-21.9, -18.1), "wrong sign"),
        ((68.1, 71.9), "angle to the vertical"),
        # 100 · tan 18° = 32.49 and 100 · tan 22° = 40.40.
        ((32.6, 40.3), "looks like %"),
    ],
)
def test_near_means_within_two_degrees_of_the_steps(
    near: tuple[float, float], words: str | None
) -> None:
    for shown in near:
        if words is None:
            check_against_steps(shown, 20.0)
        else:
            with pytest.raises(BadInputError, match=words):
                check_against_steps(shown, 20.0)
    for shown in (near[0] - 0.2, near[1] + 0.2):
        with pytest.raises(BadInputError, match="read it again"):
            check_against_steps(shown, 20.0)


def test_a_null_reading_corrects_the_levels_own_error() -> None:
    own = Turned(0.0, 0.1, 0.01, 0.01)
    bar = SineBar(34.2020, 100.0)
    first, turned = bar.null(own, False, 0.03), bar.null(own, True, 0.03)
    # With +0.1° of its own the level stands in the middle where the board is 0.1° too low.
    assert first.along_deg == pytest.approx(19.9, abs=1e-4)
    assert turned.along_deg == pytest.approx(20.1, abs=1e-4)
    assert first.u_random_deg == 0.03
    # 0.05 mm of block by cos 20° and 0.1 mm of bar by tan 20°, of 100 mm and rectangular.
    assert first.u_same_deg == pytest.approx(0.0176, abs=1e-4)
    assert first.u_common_deg == pytest.approx(math.hypot(0.01204, 0.01), abs=1e-4)
    # An error that nobody looked for lies within ±0.1°.
    unknown = bar.null(None, True, 0.03)
    assert unknown.along_deg == pytest.approx(20.0, abs=1e-4)
    assert unknown.u_common_deg == pytest.approx(math.hypot(0.01204, 0.05774), abs=1e-4)


def test_a_bar_that_cannot_stand_is_refused() -> None:
    for height in (0.0, -1.0, 100.0, 120.0):
        with pytest.raises(BadInputError, match="height must be above 0"):
            _ = SineBar(height, 100.0).angle_deg


def test_a_digital_level_keeps_its_whole_stated_error() -> None:
    own = Turned(0.0, 0.1, 0.0, 0.0)
    reading = digital_reading(
        20.1, own_error=own, turned=False, stated_error_deg=0.2, resolution_deg=0.0
    )
    assert reading.along_deg == pytest.approx(20.0)
    whole = math.hypot(reading.u_random_deg, reading.u_common_deg)
    assert whole == pytest.approx(rectangular(0.2))


@pytest.mark.parametrize(
    ("turned", "sign", "along"),
    [(False, 1.0, 9.9), (True, 1.0, 10.1), (False, -1.0, -10.1), (True, -1.0, -9.9)],
)
def test_a_digital_levels_error_is_shared_in_part(turned: bool, sign: float, along: float) -> None:
    """0.2° stated is 0.11547°; at 10° sin 20° / √2 of it is common, and 0.05° of its own."""
    reading = digital_reading(
        10.0 * sign,
        own_error=Turned(0.0, 0.1, 0.0, 0.05),
        turned=turned,
        stated_error_deg=0.2,
        resolution_deg=0.1,
    )
    assert reading.along_deg == pytest.approx(along)
    assert reading.u_common_deg == pytest.approx(math.hypot(0.02793, 0.05), abs=1e-5)
    own = math.sqrt(0.11547**2 - 0.02793**2)
    assert reading.u_random_deg == pytest.approx(math.hypot(own, 0.028868), abs=1e-5)


@pytest.mark.parametrize(
    ("value", "unit", "degrees"),
    [
        (1.0, "deg", 1.0),
        (0.25, "in/ft", 1.1935),
        (10.0, "mrad", 0.57296),
        (100.0, "%", 45.0),
        (1000.0, "mm/m", 45.0),
        (90.0, "arcmin", 1.5),
        (5400.0, "arcsec", 1.5),
    ],
)
def test_units(value: float, unit: str, degrees: float) -> None:
    assert to_deg(value, unit) == pytest.approx(degrees, abs=1e-4)
    assert to_deg(-value, unit) == pytest.approx(-degrees, abs=1e-4)


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(BadInputError, match="furlong"):
        to_deg(1.0, "furlong")
