"""The pace at which a person raises the board, and what to say of it."""

from collections import deque
from typing import Literal, NamedTuple

from rig.sliding import most_pace_off

SPAN_S = 0.6
"""Averaging time of the pace: short enough to follow, long enough for the sensor's noise."""
HINT_SHARE = 0.5
"""Share of the limit at which the person is warned, so that the limit is seldom reached."""

Word = Literal["slower", "steady", "faster"]


class Pace(NamedTuple):
    """The pace now, for terminal and page."""

    rate_deg_s: float
    target_deg_s: float
    most_off: float
    """As a share of the target: beyond, a slide is refused."""
    word: Word


class PaceKeeper:
    """Follows the board's angle.

    Args:
        target_deg_s: the pace that was asked for.
    """

    def __init__(self, target_deg_s: float) -> None:
        self._target_deg_s = target_deg_s
        self._seen: deque[tuple[float, float]] = deque()

    def see(self, at_s: float, angle_deg: float) -> Pace:
        """Take an angle and say the pace."""
        seen = self._seen
        if not seen or at_s > seen[-1][0]:
            seen.append((at_s, angle_deg))
        while len(seen) > 2 and seen[1][0] <= at_s - SPAN_S:
            seen.popleft()
        (first_s, first_deg), (last_s, last_deg) = seen[0], seen[-1]
        rate = (last_deg - first_deg) / (last_s - first_s) if last_s > first_s else 0.0
        most = most_pace_off(self._target_deg_s)
        off = rate / self._target_deg_s - 1.0
        word: Word = "steady"
        if abs(off) > HINT_SHARE * most:
            word = "slower" if off > 0.0 else "faster"
        return Pace(rate, self._target_deg_s, most, word)
