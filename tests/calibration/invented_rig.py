"""An invented sensor on an invented board, for tests of the fit: straight from the physics."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rig.calibration.captures import Rest, Span, Zero
from rig.calibration.reference import ReferenceReading, Turned, turned_level

SCALE = 16393.0


def rotation(vector_deg: Sequence[float]) -> np.ndarray:
    vector = np.radians(np.asarray(vector_deg, dtype=float))
    angle = float(np.linalg.norm(vector))
    if angle == 0.0:
        return np.eye(3)
    x, y, z = vector / angle
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)


@dataclass
class InventedRig:
    """The truth: board x uphill, y along the hinge, z up."""

    mounting_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    bias_g: tuple[float, float, float] = (0.018, -0.022, 0.015)
    gain: tuple[float, float, float] = (1.006, 0.994, 0.992)
    across_deg: float = 0.0
    """Hinge out of level."""
    twist_deg: float = 0.0
    """Board turned about its x axis against the hinge."""
    level_error_deg: float = 0.0
    scatter_counts: float = 8.0
    noise_counts: float = 0.5
    """Of a mean."""
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(1))

    def force(self, turn_deg: float, across_deg: float | None = None) -> np.ndarray:
        """Gravity in the hinge's frame after turning by an angle about it; shape (3,)."""
        across = np.radians(self.across_deg if across_deg is None else across_deg)
        up = np.array([0.0, np.sin(across), np.cos(across)])
        return rotation((0.0, turn_deg, 0.0)) @ up

    def board(self) -> np.ndarray:
        """The board against the hinge."""
        return rotation((self.twist_deg, 0.0, 0.0))

    def slopes_deg(self, turn_deg: float) -> tuple[float, float, float]:
        """Slope along and across the board, and total inclination."""
        x, y, z = self.board() @ self.force(turn_deg)
        return (
            float(np.degrees(np.arcsin(x))),
            float(np.degrees(np.arcsin(y))),
            float(np.degrees(np.arccos(z))),
        )

    def counts(self, turn_deg: float, across_deg: float | None = None) -> np.ndarray:
        """True counts, without noise."""
        true = rotation(self.mounting_deg) @ self.force(turn_deg, across_deg)
        return SCALE * (true / np.array(self.gain) + np.array(self.bias_g))

    def rest(self, turn_deg: float) -> Rest:
        """A capture."""
        mean = self.counts(turn_deg) + self.rng.normal(0.0, self.noise_counts, 3)
        return Rest(
            counts=tuple(float(v) for v in mean),  # type: ignore[arg-type]
            scatter_counts=(self.scatter_counts,) * 3,
            peak_counts=int(np.abs(mean).max()) + 40,
            n=416,
            temperature_c=25.0,
        )

    def turned(self, slope_deg: float, u_deg: float, where: str) -> Turned:
        """A level with its own error, turned."""
        error = self.level_error_deg
        noise = self.rng.normal(0.0, u_deg, 2) if u_deg else (0.0, 0.0)
        turned = turned_level(
            slope_deg + error + noise[0],
            slope_deg - error + noise[1],
            resolution_deg=0.02,
            where=where,
        )
        u = max(u_deg / np.sqrt(2.0), 1e-3)
        return turned._replace(u_slope_deg=u, u_own_error_deg=u)

    def zero(self, turn_deg: float = 0.1, u_deg: float = 0.01) -> Zero:
        """The zero step."""
        along, across, _ = self.slopes_deg(turn_deg)
        return Zero(
            rest=self.rest(turn_deg),
            along=self.turned(along, u_deg, "along"),
            across=self.turned(across, u_deg, "across"),
        )

    def span(
        self,
        turns_deg: Sequence[float] = (10, 15, 20, 25, 30, 35),
        u_random_deg: float = 0.02,
        u_common_deg: float = 0.02,
    ) -> list[Span]:
        """Span points, up and then down; the common error grows from nothing at level."""
        common = self.rng.normal(0.0, u_common_deg)
        found = []
        for direction, turns in (("up", turns_deg), ("down", reversed(list(turns_deg)))):
            for turn in turns:
                grown = np.sin(np.radians(2.0 * turn))
                along = self.slopes_deg(turn)[0] + common * grown
                along += self.rng.normal(0.0, u_random_deg)
                u_common = float(u_common_deg * grown)
                reading = ReferenceReading(float(along), u_random_deg, u_common, f"bar {turn}")
                found.append(Span(rest=self.rest(turn), reading=reading, direction=direction))
        return found
