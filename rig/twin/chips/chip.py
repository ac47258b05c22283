"""What every simulated chip is: 256 registers, a pointer, and hooks where registers do things."""

from collections.abc import Callable, Sequence
from typing import Protocol

Vectors = list[tuple[float, float, float]]
Sampler = Callable[[list[float]], Vectors]
"""Acceleration in g along the sensor's axes, or the turn in °/s about them, noise included, at
ascending monotonic times."""


class Chip(Protocol):
    """A chip on the simulated bus; all times are monotonic seconds."""

    def read(self, register: int, length: int, t_s: float) -> list[int]:
        """Read `length` bytes from `register` on."""

    def write(self, register: int, data: Sequence[int], t_s: float) -> None:
        """Write bytes from `register` on."""

    def reset(self, t_s: float) -> None:
        """What a loss of power does."""


def to_counts(samples: Vectors, counts_per_unit: float) -> list[tuple[int, int, int]]:
    """Round to whole counts, within what 16 bits hold."""
    counts = []
    for x, y, z in samples:
        a, b, c = (round(value * counts_per_unit) for value in (x, y, z))
        if not (-32768 <= a <= 32767 and -32768 <= b <= 32767 and -32768 <= c <= 32767):
            a, b, c = (max(-32768, min(32767, value)) for value in (a, b, c))
        counts.append((a, b, c))
    return counts


class SampleGrid:
    """The times at which a chip takes samples: a fixed rate from the moment it was switched on."""

    def __init__(self) -> None:
        self.start_s = 0.0
        self.period_s = 0.0
        """0 while the chip takes no samples."""
        self.made = 0

    def restart(self, t_s: float, rate_hz: float) -> None:
        """Begin to sample at this rate; 0 to stop."""
        self.start_s, self.made = t_s, 0
        self.period_s = 1 / rate_hz if rate_hz else 0.0

    def due(self, t_s: float, newest: int) -> tuple[list[float], int]:
        """The sample times since the last call up to `t_s`, and how many older ones are left out.

        Args:
            t_s: now.
            newest: keep no more than this many.
        """
        if not self.period_s:
            return [], 0
        made = int((t_s - self.start_s) / self.period_s)
        first = max(self.made, made - newest)
        skipped = first - self.made
        times = [self.start_s + i * self.period_s for i in range(first + 1, made + 1)]
        self.made = max(made, self.made)
        return times, max(0, skipped)
