"""Who reads the reference: a person at prompts, or a file that was written before."""

from typing import Literal, Protocol

from rig.calibration.captures import Rest
from rig.calibration.plan import WAYS, LevelPlan, SpanPoint, Way
from rig.calibration.reference import SineBar, check_against_steps, to_deg
from rig.errors import BadInputError

Answer = Literal["on", "redo", "stop"]
Where = Literal["along", "across"]


class LevelPerson(Protocol):
    """Reads the reference and says how to go on; all angles in degrees, in the board's frame."""

    def level_deg(self, where: Where, turned: bool) -> float:
        """The level's reading at zero."""

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """How far to raise the board until the bubble is centred; 0 when it is."""

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """What the digital level shows."""

    def across_deg(self, point: SpanPoint) -> float | None:
        """A level's reading across the board, or None."""

    def position(self, way: Way) -> Rest | None:
        """Hold the sensor still, off its board, with this side up; or what it read so before."""

    def screw_on(self) -> None:
        """Screw the sensor back onto its board, for good."""

    def warmed(self, first_c: float) -> Rest | None:
        """Begin to warm or cool the sensor where it is; or what it read at another temperature."""

    def go_on(self, step: str, found: str) -> Answer:
        """After a step: go on, do it again, or stop here and go on another day."""


class FilePerson:
    """Takes the readings from a plan that has them; asks nothing.

    Args:
        plan: with its zero readings, and span points whose angle is where the bubble was centred
            or whose `shown` is what the level showed.
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
                # Now, and not when the board is there: the file's author waits for it.
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
        """The point's angle is where the bubble was found centred."""
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
        """The sensor is on its board while a file drives."""

    def warmed(self, first_c: float) -> Rest | None:
        """From the [warm] table."""
        assert self._plan.warm is not None  # noqa: S101 - checked at the start
        return self._plan.warm.rest()

    def go_on(self, step: str, found: str) -> Answer:
        """Always on."""
        return "on"
