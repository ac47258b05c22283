"""Maps the samples that a chip counts by its own clock to monotonic time.

Sample `k` is taken at `T(k) = offset + k * period`. When the chip is asked how many samples it has
made, and the question went out at `before` and the answer came in at `after`, then
`T(made - 1) <= after` and `T(made) > before`, however late the asking thread ran. Each reading thus
bounds the line from above and below; the middle of what all bounds allow is the estimate, first of
the period, then of the offset. Lateness widens a bound but never shifts it. The tightest bounds of
each quarter of a second are kept, and those of the last six seconds used, so a drifting oscillator
is followed. Once in each quarter of a second the chip should be asked again and again until its
next sample comes up: the two last readings then bound its time to the length of a transfer.
"""

from typing import NamedTuple

import numpy as np

BLOCK_S = 0.25
BLOCKS = 24
SHARP_S = 0.5e-3
"""Bound on an edge beyond which it is sought again, as after a late thread."""
LEAD_S = 0.5e-3
"""Lead before the expected edge at which polling begins."""


class _Bound(NamedTuple):
    number: int
    time_s: float


class SampleClock:
    """Estimates when each sample was taken.

    Args:
        period_s: stated time between two samples.
        tolerance: relative; the true period lies within `period_s * (1 ± tolerance)`.
        start_s: monotonic time when the counting began.
    """

    def __init__(self, period_s: float, tolerance: float, start_s: float) -> None:
        self._stated_s = period_s
        self._spread_s = period_s * tolerance
        self.period_s = period_s
        self._offset_s = start_s + period_s
        self._is_stale = False
        self._upper: list[_Bound] = []
        self._lower: list[_Bound] = []
        self._block_end_s = start_s

    def wants_edge(self, time_s: float) -> bool:
        """Whether it is time to ask the chip until its next sample comes up."""
        if time_s >= self._block_end_s:
            return True
        return self._offset_by(self._upper[-1]) - self._offset_by(self._lower[-1]) > SHARP_S

    def until_edge_s(self, time_s: float, made: int) -> float:
        """How long to wait before asking for the next sample, `made` being there at `time_s`."""
        if not self._upper:
            return 0.0
        expected_s = self.time_of_s(made) - LEAD_S - time_s
        return max(0.0, min(expected_s, self.period_s))

    def observe(self, before_s: float, after_s: float, made: int) -> None:
        """Take in one reading: the chip had made `made` samples in all, then.

        Args:
            before_s: monotonic time before the question.
            after_s: monotonic time after the answer.
            made: number of samples since the start, those lost included; 0 is a bound too, because
                the sample before the first was due before the start.
        """
        upper, lower = _Bound(made - 1, after_s), _Bound(made, before_s)
        if not self._upper or after_s >= self._block_end_s:
            self._block_end_s = after_s + BLOCK_S
            self._has_new_block = True
            self._upper = [*self._upper[1 - BLOCKS :], upper]
            self._lower = [*self._lower[1 - BLOCKS :], lower]
        else:
            if self._offset_by(upper) < self._offset_by(self._upper[-1]):
                self._upper[-1] = upper
            if self._offset_by(lower) > self._offset_by(self._lower[-1]):
                self._lower[-1] = lower
        self._is_stale = True

    def time_of_s(self, index: int) -> float:
        """Monotonic time of sample `index`, counted from 0 at the start."""
        if self._is_stale:
            if self._has_new_block:
                self._fit_period()
                self._has_new_block = False
            self._offset_s = sum(self._offsets(self.period_s, self._lower, self._upper)) / 2
            self._is_stale = False
        return self._offset_s + index * self.period_s

    def made_by(self, time_s: float) -> int:
        """Estimated number of samples made by then."""
        return max(0, int((time_s - self.time_of_s(0)) / self.period_s + 1))

    def _offset_by(self, bound: _Bound) -> float:
        return bound.time_s - bound.number * self.period_s

    @staticmethod
    def _offsets(period_s: float, lower: list[_Bound], upper: list[_Bound]) -> tuple[float, float]:
        """The lowest and the highest offset that the bounds allow with this period."""
        return (
            max([time_s - number * period_s for number, time_s in lower]),
            min([time_s - number * period_s for number, time_s in upper]),
        )

    def _fit_period(self) -> None:
        """Take the middle of the periods that the bounds and the stated tolerance allow.

        Where drift leaves none, it is the middle between the two that contradict each other.
        """
        upper, lower = np.array(self._upper).T[:, :, None], np.array(self._lower).T
        apart, within_s = lower[0] - upper[0], lower[1] - upper[1]
        periods_s = within_s / np.where(apart == 0.0, np.nan, apart)
        low = periods_s[apart > 0.0].max(initial=self._stated_s - self._spread_s)
        high = periods_s[apart < 0.0].min(initial=self._stated_s + self._spread_s)
        self.period_s = float(low + high) / 2
