"""Progress of a series on stderr: one live line on a terminal, plain lines elsewhere."""

import sys
from typing import Any

from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.request import RunRequest

PERIOD_S = 0.2
OVERHEAD_S = 20.0
"""Homing, lowering and the pauses between, in the first guess of the time left."""


class Progress:
    """Follows a series; `follow` is a task for the machine's clock.

    Args:
        machine: the opened rig.
        n_runs: how many runs are planned.
        is_real: a person serves the rig, and is told what it waits for.
    """

    def __init__(self, machine: Machine, n_runs: int, *, is_real: bool) -> None:
        self._machine = machine
        self._is_real = is_real
        self._n_runs = n_runs
        self._request: RunRequest | None = None
        self._n_begun = 0
        self._began_s = 0.0
        self._series_began_s: float | None = None
        self._console: Any = None
        self._status: Any = None
        if sys.stderr.isatty():
            from rich.console import Console

            self._console = Console(stderr=True)

    def begin(self, request: RunRequest) -> None:
        """A run begins."""
        self._request = request
        self._n_begun += 1
        self._began_s = self._machine.clock.time_s()
        if self._series_began_s is None:
            self._series_began_s = self._began_s

    def follow(self) -> Task[None]:
        """Task: show where the series is until it is cancelled."""
        shown = ""
        try:
            while True:
                text = self._line()
                if self._console is None:
                    wants = self._machine.live.wants
                    if self._is_real and wants and wants != shown:
                        print(wants, file=sys.stderr, flush=True)
                    shown = wants
                elif self._status is None:
                    self._status = self._console.status(text)
                    self._status.start()
                else:
                    self._status.update(text)
                yield At(self._machine.clock.time_s() + PERIOD_S)
        finally:
            if self._status is not None:
                self._status.stop()

    def _line(self) -> str:
        live = self._machine.live
        if self._request is None:
            return "opening the rig"
        angle = "" if live.angle_deg is None else f"  {live.angle_deg:5.2f}°"
        air = ""
        if live.temperature_c is not None and live.relative_humidity_pct is not None:
            air = f"  {live.temperature_c:.1f} °C {live.relative_humidity_pct:.0f} %RH"
        text = f"run {self._n_begun} of {self._n_runs}  {live.state}{angle}{air}"
        return f"{text}  {live.wants or self._time_left()}"

    def _time_left(self) -> str:
        assert self._request is not None  # noqa: S101 - asked only while a run is on
        now = self._machine.clock.time_s()
        n_done = self._n_begun - 1
        if n_done and self._series_began_s is not None:
            each = (self._began_s - self._series_began_s) / n_done
        else:
            travel = self._machine.settings.linkage.soft_limit_deg
            each = travel / self._request.rate_deg_s + self._request.dwell_s + OVERHEAD_S
        left = max(0.0, each * (self._n_runs - n_done) - (now - self._began_s))
        return f"about {left / 60:.0f} min left" if left > 90 else f"about {left:.0f} s left"
