"""Maps the samples that a chip counts by its own clock to monotonic time.

Sample `k` is taken at `T(k) = offset + k * period`. When the chip is asked how many samples it has
made, and the question went out at `before` and the answer came in at `after`, then
`T(made - 1) <= after` and `T(made) > before`, however late the asking thread ran. Each reading thus
bounds the line from above and below, and the line with the widest margin within all bounds is the
estimate: lateness widens a bound but never shifts the estimate. The bounds of each half second are
kept as one, and the last twenty seconds of them are used, so a drifting oscillator is followed.
"""

from typing import NamedTuple

BLOCK_S = 0.5
BLOCKS = 40
PRIOR_WEIGHT_S = 0.2e-3
"""Margin that a period at the end of its tolerance must gain, to be preferred to the stated one."""
SHARP_S = 1e-3
"""A block whose bounds are wider apart than this asks for a sharper reading."""


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
        self._upper: list[_Bound] = []
        self._lower: list[_Bound] = []
        self._block_end_s = float("-inf")

    @property
    def is_sharp(self) -> bool:
        """Whether the readings of the last two blocks fix the samples' phase to about 1 ms."""
        if not self._upper:
            return False
        low, high = self._offsets(self.period_s, self._lower[-2:], self._upper[-2:])
        return high - low < SHARP_S

    def observe(self, before_s: float, after_s: float, made: int) -> None:
        """Take in one reading: the chip had made `made` (≥ 1) samples in all, then.

        Args:
            before_s: monotonic time before the question.
            after_s: monotonic time after the answer.
            made: number of samples, those lost included.
        """
        upper, lower = _Bound(made - 1, after_s), _Bound(made, before_s)
        if after_s >= self._block_end_s:
            self._block_end_s = after_s + BLOCK_S
            self._fit_period()
            self._upper = [*self._upper[1 - BLOCKS :], upper]
            self._lower = [*self._lower[1 - BLOCKS :], lower]
        else:
            if self._start_s(upper) < self._start_s(self._upper[-1]):
                self._upper[-1] = upper
            if self._start_s(lower) > self._start_s(self._lower[-1]):
                self._lower[-1] = lower
        self._offset_s = sum(self._offsets(self.period_s, self._lower, self._upper)) / 2

    def time_of_s(self, index: int) -> float:
        """Monotonic time of sample `index`, counted from 0 at the start."""
        return self._offset_s + index * self.period_s

    def made_by(self, time_s: float) -> int:
        """How many samples the chip had made by then, by the estimate."""
        return max(0, int((time_s - self._offset_s) / self.period_s + 1))

    def _start_s(self, bound: _Bound) -> float:
        return bound.time_s - bound.number * self.period_s

    @staticmethod
    def _offsets(period_s: float, lower: list[_Bound], upper: list[_Bound]) -> tuple[float, float]:
        """The lowest and the highest offset that the bounds allow with this period."""
        return (
            max([time_s - number * period_s for number, time_s in lower]),
            min([time_s - number * period_s for number, time_s in upper]),
        )

    def _gain_s(self, period_s: float) -> float:
        low, high = self._offsets(period_s, self._lower, self._upper)
        return high - low - PRIOR_WEIGHT_S * abs(period_s - self._stated_s) / self._spread_s

    def _fit_period(self) -> None:
        """Find the period of widest margin; the margin is concave in it, so thirds will do."""
        if len(self._upper) < 2:
            return
        low, high = self._stated_s - self._spread_s, self._stated_s + self._spread_s
        for _ in range(24):
            third = (high - low) / 3
            if self._gain_s(low + third) < self._gain_s(high - third):
                low += third
            else:
                high -= third
        self.period_s = (low + high) / 2
