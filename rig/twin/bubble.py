"""A simulated level on the simulated board, with errors of its own, and who reads it."""

from math import asin, cos, degrees, radians, sin

from rig.calibration.captures import Rest
from rig.calibration.plan import SpanPoint, Way
from rig.calibration.reference import SineBar, rectangular
from rig.procedures.level.person import Answer, LevelPerson, Where
from rig.twin.ground import crown_slope_rad
from rig.twin.placed import incline_of
from rig.twin.streams import stream
from rig.twin.world import World

WARMTH_K = 15.0
HAND_DEG = 3.0
"""Standard deviation of how straight a hand holds the sensor, about each axis."""
HELD_DEG: dict[Way, tuple[float, float, float]] = {
    "+x": (0.0, 90.0, 0.0),
    "-x": (0.0, -90.0, 0.0),
    "+y": (-90.0, 0.0, 0.0),
    "-y": (90.0, 0.0, 0.0),
    "+z": (0.0, 0.0, 0.0),
    "-z": (180.0, 0.0, 0.0),
}
"""Rotation vector that brings up onto an axis of the chip."""
NULL_DEG = 0.004
"""Nearer to the middle than this nobody moves the board again."""


class TwinLevelPerson(LevelPerson):
    """Reads a level with an own error, and a sine bar with wrong blocks and a wrong length.

    Args:
        world: the simulated rig.
        seed: of the errors.
        own_error_deg: the level's; drawn from the seed if not given.
        resolution_deg: what the level is read to at zero.
        u_null_deg: scatter of bringing the bubble to the middle.
        stated_error_deg: limit of a digital level's error away from 0°.
    """

    def __init__(
        self,
        world: World,
        seed: int,
        *,
        own_error_deg: float | None = None,
        resolution_deg: float = 0.05,
        u_null_deg: float = 0.02,
        stated_error_deg: float = 0.2,
    ) -> None:
        self._world = world
        self._random = stream(seed, "level")
        drawn = float(self._random.normal(0.0, 0.08))
        self._own_deg = drawn if own_error_deg is None else own_error_deg
        self._resolution_deg = resolution_deg
        self._u_null_deg = u_null_deg
        self._length_part = float(self._random.uniform(-1.0, 1.0))
        self._growth_deg = float(self._random.normal(0.0, rectangular(stated_error_deg)))
        self._blocks: dict[float, float] = {}
        self._centred: dict[SpanPoint, float] = {}

    def slopes_deg(self) -> tuple[float, float]:
        """True slopes of the board along and across, where the level stands on it."""
        world = self._world
        board, incline = world.scenario.board, incline_of(world.scenario)
        angle = radians(world.board_deg)
        angle += crown_slope_rad(board, world.settings, board.level_at_mm)
        along = incline.up_x * cos(angle) + incline.up_z * sin(angle)
        return degrees(asin(along)), degrees(asin(incline.up_y))

    def level_deg(self, where: Where, turned: bool) -> float:
        """Slope plus own error, or less it when turned, read to the resolution."""
        slope = self.slopes_deg()[0 if where == "along" else 1]
        shown = slope + (-self._own_deg if turned else self._own_deg)
        return round(shown / self._resolution_deg) * self._resolution_deg

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """How far the top of the bar is from where the bubble seems centred."""
        block = self._blocks.setdefault(
            bar.height_mm, float(self._random.uniform(-1.0, 1.0)) * bar.limit_height_mm
        )
        length = bar.length_mm + self._length_part * bar.limit_length_mm
        angle = degrees(asin((bar.height_mm + block) / length))
        wrong = self._centred.setdefault(point, float(self._random.normal(0.0, self._u_null_deg)))
        own = -self._own_deg if point.turned else self._own_deg
        off = angle - own + wrong - self.slopes_deg()[0]
        return 0.0 if abs(off) < NULL_DEG else off

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """A digital level whose error grows away from 0°, read to the resolution."""
        slope = self.slopes_deg()[0]
        own = -self._own_deg if point.turned else self._own_deg
        shown = slope + own + self._growth_deg * sin(radians(2.0 * slope))
        return round(shown / self._resolution_deg) * self._resolution_deg

    def across_deg(self, point: SpanPoint) -> float | None:
        """Nobody lays the level across at a raised board."""
        return None

    def position(self, way: Way) -> Rest | None:
        """Off its board, held as straight as a hand can."""
        x, y, z = HELD_DEG[way]
        off_x, off_y, off_z = self._random.normal(0.0, HAND_DEG, 3).tolist()
        self._world.held_deg = (x + off_x, y + off_y, z + off_z)
        return None

    def screw_on(self) -> None:
        """Back where it was."""
        self._world.held_deg = None

    def warmed(self, first_c: float) -> Rest | None:
        """At once; a simulated room has no walls to warm."""
        self._world.warmed_k = WARMTH_K
        return None

    def go_on(self, step: str, found: str) -> Answer:
        """Always on."""
        return "on"
