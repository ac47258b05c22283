"""How far a series is, and how long it will take still."""

from typing import NamedTuple

from rig.control.machine import Machine
from rig.control.request import RunRequest

OVERHEAD_S = 20.0
"""Homing, lowering and the pauses between, in the first guess of the time left."""


class Course(NamedTuple):
    """Where a series is."""

    n_all: int
    """Runs of the whole series."""
    n_done: int
    left_s: float | None
    """None before anything is known."""
    request: RunRequest | None
    """Of the run under way or the last one; None before the first."""
    n_before: int = 0
    """Of `n_done`, those made before the series was resumed."""


class CourseKeeper:
    """Follows one series, run by run.

    Args:
        machine: gives the time and the travel.
        n_left: runs that are still to be made.
        n_before: runs of the series that were made earlier.
    """

    def __init__(self, machine: Machine, n_left: int, n_before: int = 0) -> None:
        self._machine = machine
        self._n_left = n_left
        self._n_before = n_before
        self._n_begun = 0
        self._n_made = 0
        self._request: RunRequest | None = None
        self._first_s = 0.0
        self._began_s = 0.0

    def begin(self, request: RunRequest) -> None:
        """A run begins."""
        self._request = request
        self._n_begun += 1
        self._began_s = self._machine.clock.time_s()
        if self._n_begun == 1:
            self._first_s = self._began_s

    def made(self) -> None:
        """The run has come to its end."""
        self._n_made += 1

    def look(self) -> Course:
        """Where the series is now."""
        n_all = self._n_before + self._n_left
        n_done = self._n_before + self._n_made
        return Course(n_all, n_done, self._left_s(), self._request, self._n_before)

    def _left_s(self) -> float | None:
        """From the mean of the runs so far; before there is one, from travel, rate and dwell."""
        if self._request is None:
            return None
        now_s = self._machine.clock.time_s()
        n_over = self._n_begun - 1
        if n_over:
            each_s = (self._began_s - self._first_s) / n_over
        else:
            travel_deg = self._machine.settings.linkage.soft_limit_deg
            each_s = travel_deg / self._request.rate_deg_s + self._request.dwell_s + OVERHEAD_S
        if self._n_made >= self._n_left:
            return 0.0
        # The run under way takes something still, however long it has been going on.
        present_s = max(0.1 * each_s, each_s - (now_s - self._began_s))
        return present_s + each_s * (self._n_left - self._n_begun)
