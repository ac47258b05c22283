"""Where a quick approach ends: so far below the slide that the measured part is long enough."""

from collections.abc import Sequence
from statistics import fmean, stdev

LEAST_RUNS = 3
"""So many whole runs come first."""
MEASURED_DEG = 3.0
"""The last part before the slide is raised at the measuring rate over this much at least."""
LEAST_SCATTER_DEG = 0.3
SCATTERS = 3.0
LOWEST_DEG = 2.0
"""A quick approach to less than this saves no time."""


def quick_approach_deg(slid_at_deg: Sequence[float]) -> float | None:
    """Where to go fast, from the slide angles of the series so far.

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
