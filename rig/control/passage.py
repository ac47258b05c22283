"""Track the bag through the beams while the board continues to rise."""

from math import inf
from typing import Any

from rig.control.machine import Machine
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.devices.inputs import Edge
from rig.sliding import SHORTEST_PASS_S, longest_pass_s


class Passage:
    """Passage of the bag at the last beam: broken, perhaps far too long, then clear again.

    Args:
        machine: the opened rig.
        recorder: of the run; knows the state and takes the flags.
        request: of the run; gives the bag's length and the rate.
    """

    def __init__(self, machine: Machine, recorder: Recorder, request: RunRequest) -> None:
        self.broken_s: float | None = None
        """Time at which the first beam was last broken."""
        self.cleared_s: float | None = None
        """Time at which a bag had passed the last beam."""
        self._last_edge_s = -inf
        self._machine = machine
        self._recorder = recorder
        self._last = f"beam_{machine.inputs.beams}"
        self._last_broken_s: float | None = None
        self._longest_s = longest_pass_s(request.gap_mm, request.bag_length_mm, request.rate_deg_s)

    def is_over(self, now_s: float) -> bool:
        """Whether the bag is through and the beams have been still for a while since.

        A flickering beam is not still: the raise continues until the flicker is detected.
        """
        after_s = self._machine.settings.cycle.after_clear_s
        return self.cleared_s is not None and now_s - self._last_edge_s >= after_s

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
            # Loose fill crept into the beam; the slide itself has yet to come.
            self._go_on_raising()

    def _look_at_edge(self, edge: Edge) -> None:
        self._last_edge_s = edge.t_s
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
