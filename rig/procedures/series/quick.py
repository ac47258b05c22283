"""Where the slow part of a raise begins in a series with quick start."""

from msgspec import structs

from rig.analysis.row import RunResult
from rig.control.request import RunRequest
from rig.runfile.model import INVALIDATING
from rig.settings.method import MEASURED_DEG

LOWER_BY_DEG = 5.0
"""An early slide moves the rest of the series this much lower."""
MOST_EARLY = 2
"""After this many early slides the rest of the series is raised whole."""
LOWEST_DEG = 2.0
"""A quick start to less than this saves no time."""


def settling_raise(first: RunRequest) -> RunRequest:
    """Request for the uncounted raise before the first one: settles the face, finds the angle.

    It is whole, at the rate that the rig allows when it is made.
    """
    return structs.replace(first, repeat=0, settling=True, approach_deg=None)


class QuickStart:
    """Where the raises of a series begin slowly.

    Set by the settling raise and kept for the whole series, since a method that follows the
    slides would change what they measure; only early slides move it.
    """

    def __init__(self) -> None:
        self.angle_deg: float | None = None
        """Up to here fast; None for whole raises."""
        self._early = 0

    def take(self, result: RunResult) -> str | None:
        """Follow one raise of the series; returns a sentence where something changed."""
        if "settling" in result.flags:
            return self._settle(result)
        if "slid_early" not in result.flags:
            return None
        self._early += 1
        lower = None if self.angle_deg is None else self.angle_deg - LOWER_BY_DEG
        self._begin_at(None if self._early >= MOST_EARLY else lower)
        return f"The bag slid in the quick part of the raise; {self._from_now_on()}"

    def _settle(self, result: RunResult) -> str | None:
        angle = result.onset_angle_deg
        doubts = INVALIDATING.intersection(result.flags) - {"settling"}
        self._begin_at(None if angle is None or doubts else angle - MEASURED_DEG)
        if self.angle_deg is None:
            return f"The settling raise gave no angle to start from; {self._from_now_on()}"
        return None

    def _begin_at(self, angle_deg: float | None) -> None:
        low = angle_deg is None or angle_deg < LOWEST_DEG
        self.angle_deg = None if low else round(angle_deg or 0.0, 2)

    def _from_now_on(self) -> str:
        if self.angle_deg is None:
            return "the series continues with whole raises."
        return f"the series continues with a quick start to {self.angle_deg:.1f}°."
