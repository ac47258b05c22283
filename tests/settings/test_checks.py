from typing import Any

import msgspec
import numpy as np
import pytest

from rig.errors import BadInputError
from rig.settings.checks import (
    check,
    check_rate,
    lowering_rate_deg_s,
    max_rate_deg_s,
    quick_rate_deg_s,
    settling_rate_deg_s,
)
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings


def changed(**sections: dict[str, Any]) -> Settings:
    base = Settings()
    parts = {
        name: msgspec.structs.replace(getattr(base, name), **values)
        for name, values in sections.items()
    }
    return msgspec.structs.replace(base, **parts)


def test_the_built_in_settings_fit_together() -> None:
    check(Settings(), "built-in")
    check(changed(pins={"beam_2": 18}), "built-in, second beam")


@pytest.mark.parametrize(
    ("settings", "parts"),
    [
        (changed(linkage={"base_pivot_mm": 600.0}), ["1.8", "linkage.base_pivot_mm"]),
        (changed(linkage={"soft_limit_deg": 46.0}), ["linkage.soft_limit_deg", "46°"]),
        (
            changed(linkage={"soft_limit_deg": 6.0, "travel_deg": 5.5}),
            ["linkage.travel_deg", "5.5°"],
        ),
        (changed(motion={"rate_deg_s": 2.6}), ["motion.rate_deg_s", "2042", "2.54"]),
        (changed(screw={"microsteps": 16}), ["motion.rate_deg_s", "6283", "0.31"]),
        (
            changed(motion={"rate_deg_s": 0.3}, screw={"microsteps": 16}),
            ["motion.homing_rate_deg_s"],
        ),
        (changed(screw={"min_pulse_gap_us": 501.0}), ["screw.min_pulse_gap_us", "500 µs"]),
        (changed(board={"hole_start_mm": 773.0}), ["uphill edge lies at 750 mm", "749 mm"]),
        (changed(board={"hole_end_mm": 1300.0}), ["board.hole_end_mm"]),
        (changed(beam={"position_mm": 441.0}), ["leading edge lies at 449 mm", "450 to 700"]),
        (changed(beam={"position_mm": 692.5}), ["leading edge lies at 700.5 mm"]),
        (changed(board={"catch_mm": 380.5}), ["board.catch_mm", "380 mm"]),
        (
            changed(board={"catch_mm": 331.0}, pins={"beam_2": 18}),
            ["at most 330 mm", "last beam at 540 mm"],
        ),
        (changed(pins={"step": 5}), ["pins.limit_lower", "pins.step", "GPIO 5"]),
        (changed(pins={"beam_2": 23}), ["pins.beam_2", "pins.beam_1", "GPIO 23"]),
        (changed(pins={"enable": 2}), ["pins.enable", "I2C"]),
        (changed(pins={"buzzer": 3}), ["pins.buzzer", "I2C"]),
        (changed(pins={"blade_step": 13}), ["pins.blade_step", "pins.blade_direction"]),
        (
            changed(pins={"blade_step": 13, "blade_direction": 19}),
            ["pins.blade_step", "pins.blade_enable"],
        ),
        (changed(bus={"climate_address": 0x6A}), ["bus.imu_address", "0x6A"]),
    ],
)
def test_what_does_not_fit_is_named(settings: Settings, parts: list[str]) -> None:
    with pytest.raises(BadInputError) as caught:
        check(settings, "attic.toml")
    message = str(caught.value)
    assert message.startswith("attic.toml: ")
    for part in parts:
        assert part in message


@pytest.mark.parametrize(
    "settings",
    [
        changed(beam={"position_mm": 442.0}, board={"catch_mm": 200.0}),
        changed(board={"hole_start_mm": 774.0}),
        changed(board={"catch_mm": 380.0}),
        changed(board={"catch_mm": 330.0}, pins={"beam_2": 18}),
        changed(screw={"min_pulse_gap_us": 500.0}),
        changed(motion={"rate_deg_s": 2.546}),
        changed(board={"catch_mm": 380.0}, beam={"second_spacing_mm": 300.0}),
    ],
)
def test_limits_themselves_are_allowed(settings: Settings) -> None:
    check(settings, "attic.toml")


def test_no_rate_over_the_travel_needs_more_pulses_than_allowed() -> None:
    for settings in (Settings(), changed(linkage={"travel_deg": 30.0, "soft_limit_deg": 29.0})):
        linkage = Kinematics(settings.linkage, settings.screw)
        travel = np.linspace(0, settings.linkage.travel_deg, 2000)
        pulses_hz = linkage.pulse_rate_hz(travel, max_rate_deg_s(settings))
        assert pulses_hz.max() == pytest.approx(settings.screw.max_pulse_rate_hz, rel=1e-6)


def test_lowering_takes_the_least_of_wish_bound_and_pulse_rate() -> None:
    assert lowering_rate_deg_s(Settings()) == max_rate_deg_s(Settings())
    assert lowering_rate_deg_s(changed(motion={"lowering_rate_deg_s": 1.5})) == 1.5
    assert lowering_rate_deg_s(changed(screw={"max_pulse_rate_hz": 5000.0})) == 4.0


def test_the_fast_raises_take_what_the_pulses_allow() -> None:
    fine = changed(screw={"microsteps": 16})
    assert (quick_rate_deg_s(Settings()), settling_rate_deg_s(Settings())) == (2.5, 1.5)
    assert quick_rate_deg_s(fine) == settling_rate_deg_s(fine) == max_rate_deg_s(fine) < 0.32


def test_a_rate_that_the_pulses_cannot_make_is_refused_and_the_one_named_is_taken() -> None:
    with pytest.raises(BadInputError) as caught:
        check_rate(Settings(), 2.6, "--rate")
    assert str(caught.value) == (
        "--rate is 2.6 °/s, which needs 2042 pulses/s somewhere on the travel;"
        " `screw.max_pulse_rate_hz` allows 2000, so at most 2.54 °/s (fewer `screw.microsteps`"
        " allow more)."
    )
    check_rate(Settings(), 2.54, "--rate")


def test_the_ranges_alone_keep_the_triangle_open() -> None:
    """15° less 5° and 90° plus 60° are the extremes that the keys allow."""
    for level, angle in ((15.0, -5.0), (90.0, 60.0)):
        settings = changed(linkage={"level_angle_deg": level})
        linkage = Kinematics(settings.linkage, settings.screw)
        assert linkage.mm_per_deg(angle) > 0.5
        assert linkage.angle_deg(linkage.count_at(angle)) == pytest.approx(angle)
