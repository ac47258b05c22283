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
        (-0.2, 4.0, "bring it level first"),
        (0.8, -0.6, "sign both by which end"),  # signed by the level's display
        (float("nan"), 0.0, "no number"),
    ],
)
def test_readings_that_cannot_be(first: float, turned: float, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        turned_level(first, turned, resolution_deg=0.05)


@pytest.mark.parametrize(
    ("shown", "steps", "words"),
    [
        (-20.3, 20.0, "wrong sign"),
        (364.0, 20.0, "looks like mm/m"),
        (36.4, 20.0, "looks like %"),
        (1212.0, 20.2, "arcmin"),
        (69.9, 20.0, "angle to the vertical"),
        (27.0, 20.0, "read it again"),
        (float("inf"), 20.0, "no number"),
    ],
)
def test_a_wrong_unit_or_direction_is_recognised(shown: float, steps: float, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        check_against_steps(shown, steps)


def test_a_reading_near_the_steps_is_taken() -> None:
    check_against_steps(20.9, 20.0)


def test_a_null_reading_corrects_the_levels_own_error() -> None:
    own = Turned(0.0, 0.1, 0.01, 0.01)
    bar = SineBar(34.2020, 100.0)
    first, turned = bar.null(own, False, 0.03), bar.null(own, True, 0.03)
    # With +0.1° of its own the level stands in the middle where the board is 0.1° too low.
    assert first.along_deg == pytest.approx(19.9, abs=1e-4)
    assert turned.along_deg == pytest.approx(20.1, abs=1e-4)
    assert first.u_random_deg == 0.03
    assert bar.null(None, False, 0.03).u_common_deg > first.u_common_deg


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


def test_units() -> None:
    assert to_deg(1.0, "deg") == 1.0
    assert to_deg(0.25, "in/ft") == pytest.approx(1.1935, abs=1e-4)
    assert to_deg(10.0, "mrad") == pytest.approx(0.57296, abs=1e-5)
    with pytest.raises(BadInputError, match="furlong"):
        to_deg(1.0, "furlong")
