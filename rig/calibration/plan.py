"""Plan of a calibration, as written by a person: reference, span points, dates."""

import math
from pathlib import Path
from typing import Annotated, Literal, get_args

import msgspec
from msgspec import Meta, Struct

from rig.calibration.captures import Rest
from rig.calibration.model import Vector
from rig.calibration.reference import U_NULL_DEG, SineBar
from rig.errors import BadInputError
from rig.files.checked import UNREADABLE

Direction = Literal["up", "down"]
Way = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
"""Side of the sensor that faces up."""
WAYS: tuple[Way, ...] = get_args(Way)


class SpanPoint(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One inclination to stop at, and the reference's reading there, if already known."""

    angle_deg: Annotated[float, Meta(ge=5, le=40, description="target angle, by steps")]
    direction: Direction = "up"
    turned: bool = False
    height_mm: float | None = None
    """Block under the sine bar; None: computed from the angle."""
    shown: float | None = None
    """Reading of a digital level."""
    unit: str = "deg"
    across_deg: float | None = None


class ZeroReadings(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Readings on the level board, the level as placed and turned, in the board's frame."""

    along: tuple[float, float]
    across: tuple[float, float]
    unit: str = "deg"


class CountsReading(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The sensor's mean raw counts over some seconds of rest, and its temperature."""

    counts: Vector
    temperature_c: Annotated[float, Meta(ge=-40, le=85)]

    def rest(self) -> Rest:
        """As a capture of unknown scatter."""
        peak = round(max(abs(value) for value in self.counts))
        zero = (0.0, 0.0, 0.0)
        return Rest(
            counts=self.counts,
            scatter_counts=zero,
            peak_counts=peak,
            n=1,
            temperature_c=self.temperature_c,
        )


class Position(CountsReading, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The sensor off its board, held with one side up."""

    up: Way


class LevelPlan(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A calibration from start to end; the defaults are those of `rig level`."""

    reference: Literal["sine-bar", "digital"] = "sine-bar"
    bar_length_mm: Annotated[float, Meta(gt=10, le=2000)] = 200.0
    limit_length_mm: Annotated[float, Meta(ge=0, le=5)] = 0.1
    limit_height_mm: Annotated[float, Meta(ge=0, le=5)] = 0.05
    u_null_deg: Annotated[float, Meta(gt=0, le=1)] = U_NULL_DEG
    resolution_deg: Annotated[float, Meta(gt=0, le=1, description="of the level at zero")] = 0.05
    stated_error_deg: Annotated[float, Meta(gt=0, le=2, description="of a digital level")] = 0.2
    due_days: Annotated[int, Meta(ge=1, le=3650)] = 180
    sweep: bool = True
    """End with unloaded sweeps: hinge, vibration, filter delay."""
    six: bool = False
    """Begin with the sensor off its board, each axis up and down."""
    second_temperature: bool = False
    """End with home at another temperature."""
    zero: ZeroReadings | None = None
    positions: tuple[Position, ...] = ()
    """Sensor readings in the six positions, if already known."""
    warm: CountsReading | None = None
    """Sensor reading at home at the second temperature."""
    span: tuple[SpanPoint, ...] = ()

    def points(self) -> tuple[SpanPoint, ...]:
        """The span points in the order of measurement."""
        if self.span:
            return self.span
        angles = (10.0, 15.0, 20.0, 25.0, 30.0, 35.0)
        up = [SpanPoint(angle_deg=a) for a in angles]
        down = [SpanPoint(angle_deg=a, direction="down", turned=True) for a in reversed(angles)]
        return (*up, *down)

    def bar(self, point: SpanPoint) -> SineBar:
        """The sine bar on its block at one point."""
        height = point.height_mm
        if height is None:
            height = round(self.bar_length_mm * math.sin(math.radians(point.angle_deg)), 3)
        return SineBar(height, self.bar_length_mm, self.limit_height_mm, self.limit_length_mm)


def load_plan(path: Path) -> LevelPlan:
    """Read a TOML file of readings.

    Raises:
        BadInputError: it can't be read, or a key or value is not valid.
    """
    try:
        return msgspec.toml.decode(path.read_bytes(), type=LevelPlan)
    except OSError as error:
        raise BadInputError(
            f"Cannot read the readings {path}: {error.strerror or error}; check its name."
        ) from error
    except UNREADABLE as error:
        raise BadInputError(
            f"{path} is not a valid file of level readings: {error}; correct it there."
        ) from error
