"""Readings of the board by level, sine bar or wedge, signed in the board's frame.

Positive uphill along, and positive across where the edge that the hinge axis points to is higher.
A level shows slope plus its own error; turned end for end it shows, in the board's frame, slope
minus its error: the mean is the slope, half the difference the error.

Uncertainties are of type B (JCGM 100, 4.3): a limit ±a is a rectangular distribution, u = a/√3.
"""

import math
from typing import Literal, NamedTuple, get_args

from rig.errors import BadInputError

Unit = Literal["deg", "mm/m", "%", "in/ft", "arcmin", "arcsec", "mrad"]
UNITS: tuple[Unit, ...] = get_args(Unit)

LEVEL_LIMIT_DEG = 3.0
"""Largest plausible reading on a levelled board; a larger one is not in degrees."""

OWN_ERROR_LIMIT_DEG = 0.5
"""Largest plausible error of a usable level."""

NEAR_DEG = 2.0
"""Largest plausible difference of step count and reference."""

U_NULL_DEG = 0.02
"""Uncertainty of centring a bubble: a fifth of a 2 mm division of a 0.5 mm/m vial, and the contact
of level, bar and board. Judgement; the sensitivity of the vial in use is better."""


def to_deg(value: float, unit: str) -> float:
    """An inclination in degrees from a reading in one of `UNITS`; slopes are tangents.

    Raises:
        BadInputError: the unit is not known.
    """
    if unit == "deg":
        return value
    if unit in _TANGENTS:
        return math.degrees(math.atan(value * _TANGENTS[unit]))
    if unit in _ANGLES:
        return value * _ANGLES[unit]
    raise BadInputError(f"The unit {unit!r} is not known; give one of {', '.join(UNITS)}.")


_TANGENTS: dict[str, float] = {"mm/m": 1e-3, "%": 1e-2, "in/ft": 1 / 12}
_ANGLES: dict[str, float] = {"arcmin": 1 / 60, "arcsec": 1 / 3600, "mrad": math.degrees(1e-3)}


def rectangular(limit: float) -> float:
    """Standard uncertainty of a quantity that lies within ±limit (JCGM 100, 4.3.7)."""
    return limit / math.sqrt(3.0)


def vial_u_deg(mm_per_m: float, part: float = 0.2) -> float:
    """Standard uncertainty of centring a bubble, in degrees.

    Args:
        mm_per_m: the vial's sensitivity: slope that moves the bubble by one division of 2 mm.
        part: unnoticed deviation of the bubble, as a part of one division.
    """
    return rectangular(part * to_deg(mm_per_m, "mm/m"))


class Turned(NamedTuple):
    """A level read, turned end for end, and read again."""

    slope_deg: float
    own_error_deg: float
    u_slope_deg: float
    u_own_error_deg: float


def turned_level(
    first_deg: float, turned_deg: float, *, resolution_deg: float, where: str = "along"
) -> Turned:
    """Slope and error of the level from two readings, both signed in the board's frame.

    Args:
        first_deg: as first placed.
        turned_deg: after turning the level end for end in place.
        resolution_deg: of the level; ± half of it is rectangular.
        where: for messages: "along" or "across".

    Raises:
        BadInputError: the readings can't be degrees on a level board, or can't both be signed in
            the board's frame.
    """
    for reading in (first_deg, turned_deg):
        if not math.isfinite(reading):
            raise BadInputError(f"A level reading {where} is not a number; read it again.")
    slope, error = (first_deg + turned_deg) / 2.0, (first_deg - turned_deg) / 2.0
    if max(abs(first_deg), abs(turned_deg)) > LEVEL_LIMIT_DEG:
        largest = max(first_deg, turned_deg, key=abs)
        raise BadInputError(
            f"The level reading {largest:g} {where} is more than {LEVEL_LIMIT_DEG:g}° on a board"
            f" that should be level: level it first, or, if the level shows another unit,"
            f" name it (unit = one of {', '.join(UNITS[1:])})."
        )
    if abs(error) > OWN_ERROR_LIMIT_DEG:
        raise BadInputError(
            f"The readings {first_deg:+g}° and, turned, {turned_deg:+g}° {where} mean that the"
            f" level's own error is {abs(error):.2f}°, more than {OWN_ERROR_LIMIT_DEG:g}°: sign"
            " both by which end of the board is high, not by the level's display, or use another"
            " level."
        )
    u_one = rectangular(resolution_deg / 2.0)
    return Turned(slope, error, u_one / math.sqrt(2.0), u_one / math.sqrt(2.0))


class ReferenceReading(NamedTuple):
    """The board's inclination along the slide by a reference."""

    along_deg: float
    u_random_deg: float
    """Of this reading alone."""
    u_common_deg: float
    """Shared by all readings."""
    reference: str
    u_same_deg: float = 0.0
    """Shared by the readings that have the same `reference`: one block, one wedge."""


class SineBar(NamedTuple):
    """A bar with a block of height H under length L, or a cut wedge: its angle is asin(H/L)."""

    height_mm: float
    length_mm: float
    limit_height_mm: float = 0.05
    limit_length_mm: float = 0.1

    @property
    def angle_deg(self) -> float:
        """The bar's angle.

        Raises:
            BadInputError: no triangle has these sides.
        """
        if not 0.0 < self.height_mm < self.length_mm:
            raise BadInputError(
                f"A bar of length {self.length_mm:g} mm can't stand on a block of"
                f" {self.height_mm:g} mm: the height must be above 0 and below the length."
            )
        return math.degrees(math.asin(self.height_mm / self.length_mm))

    def u_parts_deg(self) -> tuple[float, float]:
        """Standard uncertainties from height (of one block) and length (of the bar)."""
        angle = math.radians(self.angle_deg)
        of_height = rectangular(self.limit_height_mm) / (self.length_mm * math.cos(angle))
        of_length = rectangular(self.limit_length_mm) / self.length_mm * math.tan(angle)
        return math.degrees(of_height), math.degrees(of_length)

    def null(self, own_error: Turned | None, turned: bool, u_null_deg: float) -> ReferenceReading:
        """The board's inclination when the bubble of a level on the bar is centred.

        The level's own error makes the board stand that much lower with the level one way round,
        and that much higher the other way.

        Args:
            own_error: of the level on the bar, as placed at the zero step; None if unknown.
            turned: the level lies the other way round than at first.
            u_null_deg: of centring the bubble.
        """
        error = own_error.own_error_deg if own_error else 0.0
        u_error = own_error.u_own_error_deg if own_error else rectangular(0.1)
        of_height, of_length = self.u_parts_deg()
        along = self.angle_deg - (-error if turned else error)
        common = math.hypot(of_length, u_error)
        text = f"sine bar {self.height_mm:g}/{self.length_mm:g} mm"
        return ReferenceReading(along, u_null_deg, common, text, of_height)


def digital_reading(
    shown_deg: float,
    *,
    own_error: Turned | None,
    turned: bool,
    stated_error_deg: float,
    resolution_deg: float,
) -> ReferenceReading:
    """An inclination read from a digital level.

    The dependence of its error on the angle is unknown, except that it is small at 0° and 90°,
    where its maker adjusts it. So half of the stated error's variance, times sin² 2θ, counts as
    common to all points and the rest as each point's own.

    Args:
        shown_deg: signed in the board's frame.
        own_error: found at zero by turning the level, and subtracted.
        turned: the level lies the other way round than at first.
        stated_error_deg: limit stated by its maker away from 0° and 90°.
        resolution_deg: last digit.
    """
    error = own_error.own_error_deg if own_error else 0.0
    stated = rectangular(stated_error_deg)
    common = stated * math.sin(math.radians(2.0 * shown_deg)) / math.sqrt(2.0)
    own = math.sqrt(stated**2 - common**2)
    return ReferenceReading(
        shown_deg - (-error if turned else error),
        math.hypot(own, rectangular(resolution_deg / 2.0)),
        math.hypot(common, own_error.u_own_error_deg if own_error else 0.0),
        f"digital level, ±{stated_error_deg:g}°",
    )


def check_against_steps(shown: float, steps_deg: float, what: str = "The reading") -> None:
    """Detect a reading of wrong sign or unit by the rough angle from the step count.

    Args:
        shown: as given, taken as degrees, signed in the board's frame.
        steps_deg: inclination by the step count, right to a degree or two.
        what: start of the message.

    Raises:
        BadInputError: names the unit or direction that the reading would fit.
    """
    if not math.isfinite(shown):
        raise BadInputError(f"{what} is not a number; read it again.")
    if abs(shown - steps_deg) <= NEAR_DEG:
        return
    start = f"{what} of {shown:g}° does not fit the step count, which gives about {steps_deg:.1f}°"
    if abs(shown + steps_deg) <= NEAR_DEG:
        raise BadInputError(
            f"{start}: it looks like the wrong sign; uphill is positive in the board's frame."
        )
    if abs(90.0 - shown - steps_deg) <= NEAR_DEG:
        raise BadInputError(f"{start}: it looks like the angle to the vertical; give 90° minus it.")
    for unit in UNITS[1:]:
        if abs(to_deg(shown, unit) - steps_deg) <= NEAR_DEG:
            raise BadInputError(f"{start}: it looks like {unit}; name that unit with the reading.")
    raise BadInputError(f"{start}: read it again, and check that the board is where it should be.")
