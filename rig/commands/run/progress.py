"""Progress of a series on stderr: a live view on a terminal, plain lines elsewhere."""

import sys

from rig.analysis.row import RunResult
from rig.clock import At, RealClock, Task
from rig.commands.options import say
from rig.commands.run.live_view import LiveView, plain_line
from rig.control.machine import Machine
from rig.control.request import RunRequest
from rig.panel.view import Viewer
from rig.quantities.shown import System

PERIOD_S = 0.2


class ProgressView:
    """Follows a series; `follow` is a task for the machine's clock.

    Args:
        machine: the opened rig.
        n_runs: how many runs are still to be made.
        n_before: how many of the series were made earlier.
        is_real: a person serves the rig, and sees what it waits for.
        units: what is shown in.
    """

    def __init__(
        self,
        machine: Machine,
        n_runs: int,
        *,
        is_real: bool,
        n_before: int = 0,
        units: System = "metric",
    ) -> None:
        self._machine = machine
        self._is_told = is_real or isinstance(machine.clock, RealClock)
        self._viewer = Viewer(machine)
        self._viewer.is_busy = True
        self._viewer.begin_series(n_runs, n_before)
        self._units = units
        self._live = LiveView(units=units) if sys.stderr.isatty() else None

    def begin(self, request: RunRequest) -> None:
        """A run begins."""
        self._viewer.begin_run(request)

    def made(self, result: RunResult | None) -> None:
        """A run has come to its end."""
        self._viewer.made_run(result)

    def follow(self) -> Task[None]:
        """Task: show where the series is until it is cancelled."""
        shown = ("", "")
        try:
            while True:
                live = self._machine.live
                now = (live.state, live.wants)
                if self._live is not None:
                    self._live.show(self._viewer.look())
                elif self._is_told and now != shown:
                    say(plain_line(self._viewer.look(), self._units))
                shown = now
                yield At(self._machine.clock.time_s() + PERIOD_S)
        finally:
            if self._live is not None:
                self._live.stop()
