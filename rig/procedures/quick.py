"""End of a quick approach, and agreement of quick with whole runs."""

from collections.abc import Sequence
from statistics import fmean, stdev

from rig.analysis.placing import ENOUGH_RUNS, LEVEL, MARGIN_DEG
from rig.statistics.welch import welch

LEAST_RUNS = 3
"""Number of whole runs made first."""
MEASURED_DEG = 3.0
"""Least part before the slide that is raised at the measuring rate."""
LEAST_SCATTER_DEG = 0.3
SCATTERS = 3.0
LOWEST_DEG = 2.0
"""Lowest angle for which a quick approach saves time."""


def quick_approach_deg(slid_at_deg: Sequence[float]) -> float | None:
    """End of the quick approach, from the slide angles of the series so far.

    The margin below their mean is `MEASURED_DEG` and three times their scatter, so that a run
    that slides early still has its measured part.

    Args:
        slid_at_deg: onset angles of the valid runs so far.

    Returns:
        The angle in degrees; None while the whole raise must be measured.
    """
    if len(slid_at_deg) < LEAST_RUNS:
        return None
    scatter = max(stdev(slid_at_deg), LEAST_SCATTER_DEG)
    approach = fmean(slid_at_deg) - MEASURED_DEG - SCATTERS * scatter
    return round(approach, 2) if approach >= LOWEST_DEG else None


class QuickApproach:
    """Alternates quick and whole runs until it is known whether they agree.

    If they do, all further runs are quick; if that cannot be shown, all are whole.
    """

    def __init__(self) -> None:
        self.verdict: str | None = None
        """A sentence, once there are enough of both."""
        self._whole: list[float] = []
        self._quick: list[float] = []
        self._agrees = False

    def take(self, onset_angle_deg: float, was_quick: bool) -> None:
        """Add a valid run."""
        (self._quick if was_quick else self._whole).append(onset_angle_deg)
        if self.verdict is not None or min(len(self._quick), len(self._whole)) < ENOUGH_RUNS:
            return
        compared = welch(self._whole, self._quick)
        assert compared is not None  # noqa: S101 - there are enough of both
        low, high = compared.interval(1.0 - LEVEL)
        self._agrees = compared.p_equivalence(MARGIN_DEG) < LEVEL
        found = f"quick - whole {compared.difference:+.2f}° (95 %: {low:+.2f} to {high:+.2f}°)"
        if self._agrees:
            self.verdict = f"Quick approaches agree: {found}. All further runs are quick."
        else:
            self.verdict = (
                f"Quick approaches are not shown to agree within {MARGIN_DEG:g}°: {found}. All"
                " further runs are whole; leave the quick ones out."
            )

    def next_deg(self) -> float | None:
        """Angle to which the next run may move fast; None for a whole one."""
        if self.verdict is None:
            if len(self._quick) >= max(1, len(self._whole) - LEAST_RUNS + 1):
                return None
        elif not self._agrees:
            return None
        return quick_approach_deg(self._whole)
