"""Source of the reference readings: a person at prompts, or a prepared file."""

from typing import Literal, Protocol

from rig.calibration.captures import Rest
from rig.calibration.plan import WAYS, LevelPlan, SpanPoint, Way
from rig.calibration.reference import SineBar, check_against_steps, to_deg
from rig.errors import BadInputError

Answer = Literal["on", "redo", "stop"]
Where = Literal["along", "across"]


class LevelPerson(Protocol):
    """Reads the reference and decides on each step; angles in degrees, in the board's frame."""

    def level_deg(self, where: Where, turned: bool) -> float:
        """Reading of the level at zero."""

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """Raise needed to centre the bubble; 0 when it is centred."""

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """Reading of the digital level."""

    def across_deg(self, point: SpanPoint) -> float | None:
        """Reading of a level across the board, or None."""

    def position(self, way: Way) -> Rest | None:
        """Hold the sensor still, off its board, with this side up; or return its earlier mean."""

    def screw_on(self) -> None:
        """Screw the sensor back onto its board, for good."""

    def warmed(self, first_c: float) -> Rest | None:
        """Begin to warm or cool the sensor in place; or return its second reading."""

    def go_on(self, step: str, found: str) -> Answer:
        """After a step: continue, repeat it, or stop and resume another day."""


class FilePerson:
    """Takes the readings from a plan; asks nothing.

    Args:
        plan: with its zero readings, and span points whose angle is that of the centred bubble or
            whose `shown` is the level's reading.
    """

    def __init__(self, plan: LevelPlan) -> None:
        self._plan = plan
        if plan.zero is None or not plan.span:
            raise BadInputError(
                "The readings must have a [zero] table with `along` and `across`, and [[span]]"
                " tables; add what is missing."
            )
        blank = [p for p in plan.span if plan.reference == "digital" and p.shown is None]
        if blank:
            raise BadInputError(
                f"The span point at {blank[0].angle_deg:g}° has no `shown`, the digital level's"
                " reading there; add it."
            )

        for point in plan.span:
            if point.shown is not None:
                # Checked now, not when the board is there: the file's author is waiting.
                what = f"The reading at '{point.direction} {point.angle_deg:g}'"
                check_against_steps(to_deg(point.shown, point.unit), point.angle_deg, what)
        held = {position.up for position in plan.positions}
        missing = [way for way in WAYS if way not in held]
        if plan.six and missing:
            raise BadInputError(
                f"The readings have no [[positions]] with up = {missing[0]!r}; the six positions"
                " are each axis up and each axis down."
            )
        if plan.second_temperature and plan.warm is None:
            raise BadInputError(
                "The readings have no [warm] table with `counts` and `temperature_c`, what the"
                " sensor read at home at the second temperature; add it."
            )

    def level_deg(self, where: Where, turned: bool) -> float:
        """From the [zero] table."""
        zero = self._plan.zero
        assert zero is not None  # noqa: S101 - checked at the start
        return to_deg(getattr(zero, where)[int(turned)], zero.unit)

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """The bubble was centred at the point's angle."""
        return point.angle_deg - steps_deg

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """From the [[span]] table."""
        assert point.shown is not None  # noqa: S101 - checked at the start
        return to_deg(point.shown, point.unit)

    def across_deg(self, point: SpanPoint) -> float | None:
        """From the [[span]] table."""
        return point.across_deg

    def position(self, way: Way) -> Rest | None:
        """From the [[positions]] tables."""
        return next(position.rest() for position in self._plan.positions if position.up == way)

    def screw_on(self) -> None:
        """Nothing to do: the sensor is on its board when readings come from a file."""

    def warmed(self, first_c: float) -> Rest | None:
        """From the [warm] table."""
        assert self._plan.warm is not None  # noqa: S101 - checked at the start
        return self._plan.warm.rest()

    def go_on(self, step: str, found: str) -> Answer:
        """Always continue."""
        return "on"
