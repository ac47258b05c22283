"""Follows the bag through the beams while the board goes on rising."""

from math import cbrt, radians
from typing import Any

from rig.control.machine import Machine
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.devices.inputs import Edge

SHORTEST_PASS_S = 0.05
"""No bag passes a beam in less: that was dust, a fibre or a hand."""

SLOWNESS = 1.2
"""A pass may take this much longer than the slowest that sliding allows."""

G_MM_S2 = 9806.65


def longest_pass_s(gap_mm: float, length_mm: float, rate_deg_s: float) -> float:
    """The slowest pass of a bag from rest: kinetic friction as high as static, half of the gap.

    Own derivation: then s″ = g ω t, so t = (6 s / (g ω))^(1/3). What takes longer is a board that
    warps into the beam and out again, or fill that slumped into it.
    """
    scale = 6.0 / (G_MM_S2 * radians(rate_deg_s))
    least_gap_mm = 0.5 * gap_mm
    passed_s = cbrt(scale * (least_gap_mm + length_mm)) - cbrt(scale * least_gap_mm)
    return SLOWNESS * passed_s


class Passage:
    """What the last beam saw: broken, perhaps much too long, then clear again.

    Args:
        machine: the opened rig.
        recorder: of the run; it tells the state and takes the flags.
        request: of the run; gives the bag's length and the rate.
    """

    def __init__(self, machine: Machine, recorder: Recorder, request: RunRequest) -> None:
        self.broken_s: float | None = None
        """When the first beam was last broken."""
        self.cleared_s: float | None = None
        """When a bag had passed the last beam."""
        self._machine = machine
        self._recorder = recorder
        self._last = f"beam_{machine.inputs.beams}"
        self._last_broken_s: float | None = None
        self._longest_s = longest_pass_s(request.gap_mm, request.bag_length_mm, request.rate_deg_s)

    def look(self, item: Any) -> None:
        """Take one event, or None when only time passed."""
        if isinstance(item, Edge) and item.name.startswith("beam_"):
            self._look_at_edge(item)
        limit_s = max(self._longest_s, self._machine.settings.cycle.clear_timeout_s)
        is_stuck = (
            self._recorder.state == "sliding"
            and self.cleared_s is None
            and self.broken_s is not None
            and self._machine.clock.time_s() - self.broken_s > limit_s
        )
        if is_stuck:
            # Loose fill slumped into the beam: the slide itself is still to come.
            self._go_on_raising()

    def _look_at_edge(self, edge: Edge) -> None:
        is_last = edge.name == self._last
        if edge.active:
            if self._recorder.state == "raising":
                self.broken_s = edge.t_s
                self._machine.enter("sliding")
            if is_last:
                self._last_broken_s = edge.t_s
        elif is_last and self._last_broken_s is not None:
            passed_s = edge.t_s - self._last_broken_s
            if SHORTEST_PASS_S <= passed_s <= self._longest_s:
                self.cleared_s = edge.t_s
            elif passed_s > self._longest_s and self._recorder.state == "sliding":
                self._go_on_raising()

    def _go_on_raising(self) -> None:
        self._recorder.flag("edge_crept")
        self._machine.enter("raising")
