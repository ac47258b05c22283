from pathlib import Path

import msgspec
import numpy as np
import pytest

from rig.calibration.apply import along_slope_deg, cross_slope_deg, inclination_deg
from rig.calibration.fit import turn
from rig.calibration.history import HomeRecord, home_trend
from rig.calibration.home import (
    CHECKS_NAME,
    axis_shift_deg,
    axis_shift_parts_deg,
    check_home,
    home_shift_deg,
    load_home_check,
    save_home_check,
)
from rig.calibration.model import Calibration
from rig.calibration.reference import Turned
from rig.errors import BadInputError
from tests.calibration.example import calibration
from tests.calibration.invented_rig import rotation

NOW = "2026-11-25T08:00:00Z"


def level(slope_deg: float) -> Turned:
    return Turned(slope_deg, 0.05, 0.01, 0.01)


def test_the_slope_along_has_no_jump_where_the_inclination_has_one() -> None:
    """1° across: the total inclination jumps by 2° where the slope along passes level."""
    model = calibration(home_angle_deg=0.01, home_cross_deg=1.0)
    up, down = (
        np.array(gravity_of(model, along_deg=along, across_deg=1.0)) for along in (0.01, -0.01)
    )
    assert inclination_deg(model, up) - inclination_deg(model, down) > 1.9
    along, across = home_shift_deg(
        model, float(along_slope_deg(model, down)), float(cross_slope_deg(model, down))
    )
    assert along == pytest.approx(-0.02, abs=1e-4)
    assert across == pytest.approx(0.0, abs=1e-4)


def gravity_of(model: Calibration, *, along_deg: float, across_deg: float) -> list[float]:
    """A gravity vector that is turned about the hinge by one angle, and tilted along it."""
    level, axis = np.array(model.level), np.array(model.axis)
    along, across = np.radians(along_deg), np.radians(across_deg)
    uphill = np.cross(axis, level)
    turned = np.cos(along) * level + np.sin(along) * uphill
    return list(np.cos(across) * turned + np.sin(across) * axis)


def test_a_level_that_agrees_lets_the_floor_have_moved() -> None:
    model = calibration()
    check = check_home(model, (0.5, 0.0), level(0.48), level(0.02), 0.01, NOW)
    assert check.covers(model, 0.55, 0.0, 0.3)
    assert not check.covers(model, 1.0, 0.0, 0.3)
    later = msgspec.structs.replace(model, made_at="2026-10-02T08:00:00Z")
    assert not check.covers(later, 0.5, 0.0, 0.3)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_check_covers_readings_near_its_own_on_either_side(sign: float) -> None:
    model = calibration()
    check = check_home(model, (0.5, -0.2), level(0.5), level(-0.2), 0.01, NOW)
    for off, is_covered in ((0.29 * sign, True), (0.31 * sign, False)):
        assert check.covers(model, 0.5 + off, -0.2, 0.3) is is_covered
        assert check.covers(model, 0.5, -0.2 + off, 0.3) is is_covered


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("way", [0, 1])
def test_level_and_sensor_agree_within_a_tenth_and_three_times_their_uncertainty(
    sign: float, way: int
) -> None:
    """0.1 + 3 · √(0.03² + 0.04²) = 0.25."""

    def check(off: float) -> None:
        said = [0.5, -0.2]
        levels = [Turned(slope, 0.05, 0.04, 0.01) for slope in said]
        said[way] += sign * off
        check_home(calibration(), (said[0], said[1]), levels[0], levels[1], 0.03, NOW)

    check(0.249)
    with pytest.raises(BadInputError, match="calibrate again"):
        check(0.251)


@pytest.mark.parametrize("twist_deg", [1.0, -1.0])
def test_the_boards_twist_on_its_hinge_does_not_count_as_a_slope(twist_deg: float) -> None:
    """A board that is level across shows the tilt of a hinge that does not lie parallel to it."""
    axis = (0.0, np.cos(np.radians(twist_deg)), np.sin(np.radians(twist_deg)))
    model = calibration(axis=axis, home_angle_deg=0.1, home_cross_deg=twist_deg)
    check = check_home(model, (0.1, twist_deg), level(0.1), level(0.0), 0.01, NOW)
    assert check.sensor_across_deg == pytest.approx(0.0, abs=1e-9)
    assert home_shift_deg(model, 0.3, twist_deg - 0.2) == pytest.approx((0.2, -0.2))


@pytest.mark.parametrize(("along", "across", "word"), [(0.0, 0.0, "along"), (0.5, 0.6, "across")])
def test_a_level_that_disagrees_means_the_sensor_moved(
    along: float, across: float, word: str
) -> None:
    with pytest.raises(BadInputError, match=f"{word}.*calibrate again"):
        check_home(calibration(), (0.5, 0.0), level(along), level(across), 0.01, NOW)


def test_checks_are_kept_and_the_last_one_counts(tmp_path: Path) -> None:
    assert load_home_check(tmp_path) is None
    for slope in (0.3, 0.5):
        check = check_home(calibration(), (slope, 0.0), level(slope), level(0.0), 0.01, NOW)
        save_home_check(tmp_path / "calibration", check)
    with (tmp_path / "calibration" / CHECKS_NAME).open("ab") as file:
        file.write(b'{"cut')
    found = load_home_check(tmp_path / "calibration")
    assert found is not None
    assert found.sensor_along_deg == 0.5


def raised(floor_deg: float, slip_deg: tuple[float, float, float]) -> np.ndarray:
    """Gravity in the sensor's frame over a raise; board x uphill, y along the hinge, z up."""
    start = rotation((0.0, floor_deg, 0.0)) @ [0.0, 0.0, 1.0]
    points = turn(np.array([0.0, 1.0, 0.0]), np.radians(np.linspace(0.0, 25.0, 60)), start)
    return points @ rotation(slip_deg).T


def test_a_raise_shows_a_slip_unless_it_is_about_the_hinge() -> None:
    floor, _ = axis_shift_deg(calibration(), raised(0.5, (0.0, 0.0, 0.0)))
    about_hinge, _ = axis_shift_deg(calibration(), raised(0.0, (0.0, 0.5, 0.0)))
    about_normal, _ = axis_shift_deg(calibration(), raised(0.0, (0.0, 0.0, 0.5)))
    assert floor == pytest.approx(0.0, abs=1e-6)
    # The two that nothing but a level can tell apart:
    np.testing.assert_allclose(
        raised(0.5, (0.0, 0.0, 0.0)), raised(0.0, (0.0, 0.5, 0.0)), atol=1e-12
    )
    assert about_hinge == pytest.approx(0.0, abs=1e-6)
    assert about_normal == pytest.approx(0.5, abs=1e-6)


def test_a_hinge_of_a_length_that_rounding_left_has_not_moved() -> None:
    longer = calibration(axis=(0.0, 1.0005, 0.0))
    assert axis_shift_deg(longer, raised(0.0, (0.0, 0.0, 0.0)))[0] == 0.0


@pytest.mark.parametrize("slip_deg", [0.5, -0.5])
def test_a_turn_about_the_boards_normal_and_a_tip_are_told_apart_with_their_signs(
    slip_deg: float,
) -> None:
    """The hinge moves by −slip along x; the chord of 25° is (cos 12.5°, 0, −sin 12.5°)."""
    along, across = np.cos(np.radians(12.5)), np.sin(np.radians(12.5))
    (turned, _), (tipped, _) = axis_shift_parts_deg(
        calibration(), raised(0.0, (0.0, 0.0, slip_deg))
    )
    assert turned == pytest.approx(-slip_deg * along, abs=0.005)
    # The hinge times the chord is (−sin 12.5°, 0, −cos 12.5°).
    assert tipped == pytest.approx(slip_deg * across, abs=0.005)


def records(
    along: list[float], axis: float | None = 0.0, bend: float | None = 0.0
) -> list[HomeRecord]:
    return [HomeRecord(NOW, 7.0 * i, value, 0.0, axis, bend) for i, value in enumerate(along)]


def test_trends_are_told_apart_as_far_as_may_be() -> None:
    sinking = home_trend(records([0.0, 0.021, 0.039, 0.062, 0.08]))
    assert sinking.per_month_deg == pytest.approx(0.02 / 7 * 30, rel=0.05)
    assert "Only a level can tell" in sinking.words[0]
    assert "per month" in sinking.words[1]
    assert "has turned on its mount" in home_trend(records([0.3] * 3, axis=0.5)).words[0]
    assert "bent" in home_trend(records([0.3] * 3, bend=0.3)).words[0]
    assert home_trend(records([0.01, -0.01, 0.0])).words == ("The home reading has not changed.",)
    assert home_trend(records([0.2], axis=None, bend=None)).n == 1
