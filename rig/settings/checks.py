"""Checks across settings: linkage, pulse rates, positions on the board, pins, blade."""

import math
from collections.abc import Iterator

import msgspec

from rig.errors import BadInputError
from rig.settings.kinematics import Kinematics
from rig.settings.method import QUICK_RATE_DEG_S, SETTLING_RATE_DEG_S
from rig.settings.model import Settings

MAX_LENGTH_RATIO = 1.8
"""Largest growth of the screw for which its own length still gives enough guidance."""

HOLE_MARGIN_MM = 24.0
"""Least distance of the bag's uphill edge from the hole's lower rim."""

LEADING_EDGE_MM = (450.0, 700.0)
"""Range allowed for the bag's leading edge before the raise."""

CATCH_MARGIN_MM = 50.0
"""Distance that the bag has passed the last beam by when it meets the catch."""

BLADE_MARGIN_MM = 15.0
"""Extra travel in which the blade searches for the beam, stopping distance included."""

BLADE_NOTICE_S = 0.03
"""Delay from the beam's edge to the start of a smooth stop."""

BLADE_GAP_MM = 1.0

HIGHEST_LOWERING_DEG_S = 4.0

BUS_PINS = (2, 3)
"""GPIO numbers of the I2C bus on the header."""

BLADE_PINS = ("blade_step", "blade_direction", "blade_enable")
"""Pins required by the blade's driver."""


def check(settings: Settings, source: str) -> None:
    """Check that the settings fit together.

    Args:
        settings: the settings, each value within its own range already.
        source: the file they came from, for the message.

    Raises:
        BadInputError: two settings contradict each other; the first such case is named.
    """
    mistake = next(_mistakes(settings), None)
    if mistake is not None:
        raise BadInputError(f"{source}: {mistake}.")


def max_rate_deg_s(settings: Settings) -> float:
    """Highest turning rate, in °/s, that keeps the pulse rate in bounds over the whole travel."""
    linkage = Kinematics(settings.linkage, settings.screw)
    steepest = linkage.steepest_deg(settings.linkage.home_angle_deg, settings.linkage.travel_deg)
    return settings.screw.max_pulse_rate_hz / linkage.pulse_rate_hz(steepest, 1.0)


def lowering_rate_deg_s(settings: Settings) -> float:
    """Lowering rate, in °/s: as set, or the highest that the pulse rate allows."""
    wanted = min(settings.motion.lowering_rate_deg_s, HIGHEST_LOWERING_DEG_S)
    return min(wanted, max_rate_deg_s(settings))


def quick_rate_deg_s(settings: Settings) -> float:
    """Rate of a quick start, in °/s."""
    return min(QUICK_RATE_DEG_S, max_rate_deg_s(settings))


def settling_rate_deg_s(settings: Settings) -> float:
    """Rate of the settling raise before a series, in °/s."""
    return min(SETTLING_RATE_DEG_S, max_rate_deg_s(settings))


def check_rate(settings: Settings, rate_deg_s: float, name: str) -> None:
    """Check that the pulses can make a raise rate that was asked for.

    Args:
        settings: of the rig.
        rate_deg_s: the rate.
        name: where it was given, for the message.

    Raises:
        BadInputError: they cannot.
    """
    if rate_deg_s > max_rate_deg_s(settings):
        raise BadInputError(f"{_too_fast(settings, rate_deg_s, name)}.")


def _too_fast(settings: Settings, rate_deg_s: float, name: str) -> str:
    allowed_hz, highest = settings.screw.max_pulse_rate_hz, max_rate_deg_s(settings)
    # Cut off, not rounded: the rate that is named must be one that is taken.
    return (
        f"{name} is {rate_deg_s:g} °/s, which needs {rate_deg_s / highest * allowed_hz:.0f} "
        f"pulses/s somewhere on the travel; `screw.max_pulse_rate_hz` allows {allowed_hz:g}, "
        f"so at most {math.floor(100 * highest) / 100:.2f} °/s (fewer `screw.microsteps` allow "
        "more)"
    )


def _mistakes(settings: Settings) -> Iterator[str]:
    yield from _linkage(settings)
    yield from _pulses(settings)
    yield from _places(settings)
    yield from _pins(settings)
    if settings.motion.raised_by == "hand" and settings.blade.fitted:
        yield (
            "`blade.fitted` is true, but the blade works only on a board that a motor levels; set"
            ' it to false, or `motion.raised_by` to "motor"'
        )
    if settings.blade.fitted:
        yield from _blade(settings)


def _linkage(settings: Settings) -> Iterator[str]:
    """Check the screw; each key's own range keeps the angle at the hinge between 10° and 150°."""
    place = settings.linkage
    if place.soft_limit_deg >= place.travel_deg:
        yield (
            f"`linkage.soft_limit_deg` is {place.soft_limit_deg:g}°; it must be below "
            f"`linkage.travel_deg`, {place.travel_deg:g}°"
        )
    if place.home_angle_deg >= place.soft_limit_deg:
        yield (
            f"`linkage.home_angle_deg` is {place.home_angle_deg:g}°; it must be below "
            f"`linkage.soft_limit_deg`, {place.soft_limit_deg:g}°"
        )
    linkage = Kinematics(place, settings.screw)
    ratio = linkage.length_mm(place.travel_deg) / linkage.length_mm(place.home_angle_deg)
    if ratio > MAX_LENGTH_RATIO:
        yield (
            f"the screw grows {ratio:.2f}-fold over the travel, at most {MAX_LENGTH_RATIO}-fold is "
            "allowed; move the pivots further apart (`linkage.base_pivot_mm`, "
            "`linkage.cradle_pivot_mm`) or make `linkage.level_angle_deg` larger"
        )


def _pulses(settings: Settings) -> Iterator[str]:
    screw = settings.screw
    shortest_us = 1e6 / screw.max_pulse_rate_hz
    if screw.min_pulse_gap_us > shortest_us:
        yield (
            f"`screw.min_pulse_gap_us` is {screw.min_pulse_gap_us:g} µs, but at "
            f"`screw.max_pulse_rate_hz` pulses are {shortest_us:.4g} µs apart; make it smaller"
        )
    for name in ("rate_deg_s", "homing_rate_deg_s"):
        rate = getattr(settings.motion, name)
        if rate > max_rate_deg_s(settings):
            yield _too_fast(settings, rate, f"`motion.{name}`")


def _places(settings: Settings) -> Iterator[str]:
    beam, bag, board = settings.beam, settings.bag, settings.board
    if not board.hole_start_mm < board.hole_end_mm < board.length_mm:
        yield (
            "`board.hole_start_mm`, `board.hole_end_mm` and `board.length_mm` must grow "
            "in this order"
        )
    leading = beam.position_mm + bag.gap_mm
    low, high = LEADING_EDGE_MM
    if not low <= leading <= high:
        yield (
            f"the bag's leading edge lies at {leading:g} mm (`beam.position_mm` + `bag.gap_mm`); "
            f"allowed is {low:g} to {high:g} mm from the board's lower edge"
        )
    uphill, limit = leading + bag.length_mm, board.hole_start_mm - HOLE_MARGIN_MM
    if uphill > limit:
        yield (
            f"the bag's uphill edge lies at {uphill:g} mm (`beam.position_mm` + `bag.gap_mm` + "
            f"`bag.length_mm`); it must stay at or below {limit:g} mm, {HOLE_MARGIN_MM:g} mm "
            "short of `board.hole_start_mm`"
        )
    last = beam.position_mm - (beam.second_spacing_mm if settings.pins.beam_2 is not None else 0.0)
    highest = last - bag.gap_mm - bag.length_mm - CATCH_MARGIN_MM
    if board.catch_mm > highest:
        yield (
            f"`board.catch_mm` is {board.catch_mm:g}; it must be at most {highest:g} mm, so that "
            f"gap, bag and {CATCH_MARGIN_MM:g} mm more fit below the last beam at {last:g} mm"
        )


def _pins(settings: Settings) -> Iterator[str]:
    taken: dict[int, str] = {}
    for name, value in msgspec.structs.asdict(settings.pins).items():
        if value is None or isinstance(value, bool):
            continue
        if value in BUS_PINS:
            yield f"`pins.{name}` is GPIO {value}, which belongs to the I2C bus; choose another"
        if value in taken:
            yield f"`pins.{name}` and `pins.{taken[value]}` are both GPIO {value}; choose another"
        taken[value] = name
    blade = [name for name in BLADE_PINS if getattr(settings.pins, name) is not None]
    if 0 < len(blade) < len(BLADE_PINS):
        missing = next(name for name in BLADE_PINS if name not in blade)
        yield f"`pins.{blade[0]}` is given but `pins.{missing}` is not; the blade needs both"
    if settings.bus.imu_address == settings.bus.climate_address:
        yield (
            f"`bus.imu_address` and `bus.climate_address` are both "
            f"0x{settings.bus.imu_address:02X}; they must differ"
        )


def _blade(settings: Settings) -> Iterator[str]:
    blade, pins = settings.blade, settings.pins
    for name in BLADE_PINS:
        if getattr(pins, name) is None:
            yield f"`blade.fitted` is true, so `pins.{name}` must be given"
    highest_hz = blade.speed_mm_s * blade_pulses_per_mm(settings)
    if highest_hz * settings.screw.min_pulse_gap_us > 1e6:
        yield (
            f"`blade.speed_mm_s` is {blade.speed_mm_s:g}, which needs {highest_hz:.0f} pulses/s; "
            f"`screw.min_pulse_gap_us` allows {1e6 / settings.screw.min_pulse_gap_us:.0f}"
        )
    way = settings.beam.position_mm + blade.thickness_mm + blade.overshoot_mm
    way -= settings.board.catch_mm
    room = blade.travel_mm - BLADE_MARGIN_MM
    if way > room:
        yield (
            f"the blade must move {way:g} mm uphill (`beam.position_mm` + `blade.thickness_mm` + "
            f"`blade.overshoot_mm` - `board.catch_mm`); it may move {room:g} mm, "
            f"{BLADE_MARGIN_MM:g} mm less than `blade.travel_mm`"
        )
    stop_mm = blade_stop_mm(settings)
    if stop_mm > blade.overshoot_mm:
        yield (
            f"the blade needs {stop_mm:.1f} mm to stop from `blade.speed_mm_s`, more than "
            f"`blade.overshoot_mm`, {blade.overshoot_mm:g}; make it slower or stop it harder "
            "(`blade.acceleration_mm_s2`, `blade.ramp_jerk_mm_s3`)"
        )
    gap = blade.thickness_mm + blade.overshoot_mm - blade.springback_mm
    if abs(gap - settings.bag.gap_mm) > BLADE_GAP_MM:
        yield (
            f"the blade leaves a gap of {gap:g} mm (`blade.thickness_mm` + `blade.overshoot_mm` - "
            f"`blade.springback_mm`), and `bag.gap_mm` is {settings.bag.gap_mm:g}; they may differ "
            f"by {BLADE_GAP_MM:g} mm"
        )


def blade_pulses_per_mm(settings: Settings) -> float:
    """Step pulses of the blade's driver per mm of its travel."""
    blade = settings.blade
    return blade.full_steps_per_turn * blade.microsteps / blade.lead_mm


def blade_stop_mm(settings: Settings) -> float:
    """Stopping distance of the blade from its full speed, reaction time included.

    A stop with limited jerk from speed v takes v/2·(v/a + a/j), or v·√(v/j) when the limit of the
    acceleration a is never reached.
    """
    blade = settings.blade
    v, a, j = blade.speed_mm_s, blade.acceleration_mm_s2, blade.ramp_jerk_mm_s3
    stop = v / 2 * (v / a + a / j) if v * j > a * a else v * (v / j) ** 0.5
    return stop + v * BLADE_NOTICE_S
