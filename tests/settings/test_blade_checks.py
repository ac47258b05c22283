"""What must hold for the blade, from both sides of each limit; figures by hand."""

import re
from typing import Any

import pytest

from rig.errors import BadInputError
from rig.settings.checks import blade_stop_mm, check
from rig.settings.model import Settings
from tests.settings.test_checks import changed

PINS = {"blade_step": 13, "blade_direction": 19, "blade_enable": 21}


def with_blade(**sections: dict[str, Any]) -> Settings:
    blade = {"fitted": True} | sections.pop("blade", {})
    return changed(pins=PINS, blade=blade, **sections)


# The gap that the blade leaves: thickness 3 mm + overshoot 6 mm - spring-back 1 mm, as in `bag`.
FITS = {
    "the reference rig": with_blade(),
    # 200·32/40 = 160 pulses per mm, so 25 mm/s are 4000 Hz, and 250 µs allow as many.
    "fast": with_blade(blade={"microsteps": 32, "speed_mm_s": 25.0}),
    # 590 + 3 + 6 - 214 = 385 mm, 15 mm less than the travel.
    "far": with_blade(board={"catch_mm": 214.0}),
    "wide gap": with_blade(blade={"overshoot_mm": 7.0}),
    "narrow gap": with_blade(blade={"overshoot_mm": 5.0}),
    # It stops from 20 mm/s in 20/2·(20/100 + 100/1000) + 20·0.03 = 3.6 mm.
    "short stop": with_blade(blade={"overshoot_mm": 3.61, "thickness_mm": 5.39}),
}


@pytest.mark.parametrize("settings", FITS.values(), ids=FITS)
def test_at_its_limits_the_blade_is_accepted(settings: Settings) -> None:
    check(settings, "attic.toml")


@pytest.mark.parametrize(
    ("settings", "parts"),
    [
        (changed(blade={"fitted": True}), ["`blade.fitted` is true", "`pins.blade_step`"]),
        (
            with_blade(blade={"microsteps": 32, "speed_mm_s": 25.1}),
            ["is 25.1", "4016 pulses/s", "allows 4000"],
        ),
        (with_blade(board={"catch_mm": 213.9}), ["must move 385.1 mm", "may move 385 mm"]),
        (
            with_blade(blade={"overshoot_mm": 3.59, "thickness_mm": 5.41}),
            ["needs 3.6 mm to stop", "3.59"],
        ),
        (with_blade(blade={"overshoot_mm": 7.1}), ["a gap of 9.1 mm", "`bag.gap_mm` is 8"]),
        (with_blade(blade={"overshoot_mm": 4.9}), ["a gap of 6.9 mm"]),
        (with_blade(blade={"springback_mm": 2.1}), ["a gap of 6.9 mm"]),
    ],
)
def test_beyond_its_limits_the_blade_is_refused(settings: Settings, parts: list[str]) -> None:
    with pytest.raises(BadInputError) as caught:
        check(settings, "attic.toml")
    for part in parts:
        assert re.search(re.escape(part) + r"(?!\d)", str(caught.value))


def test_a_blade_that_is_not_fitted_may_be_anything() -> None:
    check(changed(blade={"overshoot_mm": 20.0}), "attic.toml")


@pytest.mark.parametrize(
    ("speed_mm_s", "stop_mm"),
    [
        # v·j above a²: at 20 mm/s, with 100 mm/s² and 1000 mm/s³, as above.
        (20.0, 3.6),
        # Below it, the acceleration never reaches its limit: 5·√(5/1000) + 5·0.03.
        (5.0, 0.5036),
        # Where both are the same: v = a²/j = 10 mm/s, 10·√0.01 + 0.3.
        (10.0, 1.3),
    ],
)
def test_the_way_of_a_stop_by_hand(speed_mm_s: float, stop_mm: float) -> None:
    settings = changed(blade={"speed_mm_s": speed_mm_s})
    assert blade_stop_mm(settings) == pytest.approx(stop_mm, abs=1e-4)
