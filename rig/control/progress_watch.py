"""Comparison of steps and angle sensor while the board moves."""

from rig.errors import MachineFaultError

WRONG_WAY_DEG = 0.8
NO_PROGRESS_DEG = 1.2
FRESH_S = 0.15
"""Largest age of a usable angle; a silent sensor is checked elsewhere."""
LEAST_SHARE = 0.4
"""Share of the travel by steps that the sensor must show; filter and batches lag."""


LASTS_S = 0.3
"""Time that a difference must last: a failing sensor shows its own fault sooner."""


class ProgressWatch:
    """Watches moves one after another."""

    def __init__(self) -> None:
        self._track: list[tuple[float, float]] = []
        self._since_s: float | None = None

    def begin(self) -> None:
        """Begin to watch a move."""
        self._track = []
        self._since_s = None

    def look(
        self, now_s: float, step_angle_deg: float, angle_deg: float | None, age_s: float
    ) -> None:
        """Take both angles, some twenty times a second, and the age of the sensor's.

        Raises:
            MachineFaultError: `wrong_direction` or `no_progress`.
        """
        if angle_deg is None or age_s > FRESH_S:
            self.begin()
            return
        problem = self._compare(step_angle_deg, angle_deg)
        if problem is None:
            self._since_s = None
        elif self._since_s is None:
            self._since_s = now_s
        elif now_s - self._since_s >= LASTS_S:
            raise problem

    def _compare(self, step_angle_deg: float, angle_deg: float) -> MachineFaultError | None:
        """Compare with the time at which the board, by steps, was far enough away to tell."""
        self._track.append((step_angle_deg, angle_deg))
        for i in range(len(self._track) - 1, -1, -1):
            by_steps = step_angle_deg - self._track[i][0]
            if abs(by_steps) < WRONG_WAY_DEG:
                continue
            share = (angle_deg - self._track[i][1]) / by_steps
            if share < -LEAST_SHARE:
                return MachineFaultError(
                    "wrong_direction",
                    f"The steps moved by {by_steps:+.1f}° and the angle sensor by"
                    f" {share * by_steps:+.1f}°: the board moves the wrong way.",
                )
            if abs(by_steps) >= NO_PROGRESS_DEG:
                if share < LEAST_SHARE:
                    return MachineFaultError(
                        "no_progress",
                        f"The steps moved by {by_steps:+.1f}° and the angle sensor by only"
                        f" {share * by_steps:+.1f}°: the board does not follow the motor.",
                    )
                del self._track[:i]
                return None
        return None
