"""The bag's passage through the beams in a simulated raise: edges, states and the raise's end."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import degrees, inf

from rig.runfile.model import Event, Flag
from rig.settings.model import CycleSettings
from rig.sliding import SHORTEST_PASS_S
from rig.twin.receivers import Receivers
from rig.twin.slide import BagEdge, SlideMotion

CHUNK_S = 0.25


@dataclass
class Passage:
    """What came of one raise, as the machine that watches it sees it."""

    edges: list[BagEdge] = field(default_factory=list)
    """As the pins report them: outputs of the receivers, their response included."""
    events: list[Event] = field(default_factory=list)
    flags: list[Flag] = field(default_factory=list)
    broken_s: float | None = None
    cleared_s: float | None = None
    is_sliding: bool = False

    def enter_slide(self, time_s: float) -> None:
        """The first beam to break while the board is raised begins a slide."""
        if not self.is_sliding:
            self.is_sliding, self.broken_s = True, time_s
            self.events.append(_state(time_s, "sliding"))

    def time_out(self, now_s: float, limit_s: float) -> None:
        """Back to raising when the bag has not cleared in time."""
        if self.is_sliding and self.cleared_s is None and self.broken_s is not None:
            if now_s - self.broken_s > limit_s:
                self.go_on_raising(self.broken_s + limit_s)

    def go_on_raising(self, time_s: float) -> None:
        """It was no slide: fill that slumped, or a board that warps."""
        if "edge_crept" not in self.flags:
            self.flags.append("edge_crept")
        self.is_sliding = False
        self.events.append(_state(time_s, "raising"))


def watch(
    slide: SlideMotion,
    receivers: Receivers,
    angle: Callable[[float], float],
    end_s: float,
    response_s: float,
) -> list[BagEdge]:
    """Let the bag slide while the board is raised; returns the edges of the receivers' outputs.

    Args:
        slide: the bag at the start of the raise.
        receivers: the light barriers.
        angle: true cradle angle (rad) over time (s), not falling.
        end_s: when the raise ends at the latest.
        response_s: delay of the receivers.
    """
    start_s = slide.time_s
    happenings = [
        (_time_of(angle, border, start_s, end_s), None)
        for border in receivers.borders_deg
        if degrees(angle(start_s)) < border <= degrees(angle(end_s))
    ]
    bag: list[tuple[float, BagEdge | None]] = []
    while slide.time_s < end_s and not slide.is_over:
        bag += [(e.time_s, e) for e in slide.advance(min(end_s, slide.time_s + CHUNK_S), angle)]
    edges = []
    for time_s, edge in sorted([*happenings, *bag], key=lambda item: item[0]):
        # A hair above the border, where rounding can't put it on the wrong side.
        angle_deg = degrees(angle(time_s)) + 1e-9
        if edge is None:
            changes = receivers.look(angle_deg)
        else:
            changes = receivers.bag(edge.beam, edge.broken, angle_deg)
        edges += [BagEdge(time_s + response_s, beam, broken) for beam, broken in changes]
    return edges


def watch_lowering(
    receivers: Receivers,
    angle: Callable[[float], float],
    start_s: float,
    end_s: float,
    response_s: float,
) -> list[BagEdge]:
    """Edges of the receivers while the board is lowered; the bag lies where it came to rest."""
    edges: list[BagEdge] = []
    receivers.look(degrees(angle(start_s)))
    for border in reversed(receivers.borders_deg):
        if degrees(angle(end_s)) < border <= degrees(angle(start_s)):
            time_s = _time_of(lambda t: -angle(t), -border, start_s, end_s)
            changes = receivers.look(border - 1e-9)
            edges += [BagEdge(time_s + response_s, beam, broken) for beam, broken in changes]
    return edges


def judge(
    edges: list[BagEdge],
    end_s: float,
    cycle: CycleSettings,
    n_beams: int,
    longest_s: float,
    begun_s: float = -inf,
) -> Passage:
    """Follow the edges as the machine's cycle does, up to the bag's clearing of the last beam.

    Args:
        edges: of the receivers, in order.
        end_s: when the raise ends unless the bag clears the last beam.
        cycle: time-outs.
        n_beams: 1 or 2.
        longest_s: a pass that takes longer was no bag's.
        begun_s: when the measured raise began.
    """
    passage = Passage()
    last_broken_s: float | None = None
    limit_s = max(longest_s, cycle.clear_timeout_s)
    for edge in edges:
        over = None if passage.cleared_s is None else edge.time_s - passage.cleared_s
        if edge.time_s > end_s or (over is not None and over > cycle.after_clear_s):
            break
        passage.time_out(edge.time_s, limit_s)
        passage.edges.append(edge)
        passage.events.append(edge_event(edge))
        if edge.broken:
            passage.enter_slide(edge.time_s)
            if edge.beam == n_beams:
                last_broken_s = edge.time_s
        elif edge.beam == n_beams and last_broken_s is not None:
            passed_s = edge.time_s - last_broken_s
            if SHORTEST_PASS_S <= passed_s <= longest_s:
                passage.cleared_s = edge.time_s
            elif passed_s > longest_s and passage.is_sliding:
                passage.go_on_raising(edge.time_s)
    passage.time_out(end_s, limit_s)
    if passage.broken_s is not None and passage.broken_s <= begun_s:
        passage.flags.append("moved_before_raise" if passage.cleared_s is None else "slid_early")
    if passage.cleared_s is None:
        passage.flags.append("no_slide" if passage.broken_s is None else "stalled_in_slide")
    return passage


def edge_event(edge: BagEdge) -> Event:
    """The line of a run file for an edge of a beam."""
    name = "beam_broken" if edge.broken else "beam_clear"
    return Event(t_s=round(edge.time_s, 6), event=name, detail={"beam": edge.beam})


def _state(time_s: float, state: str) -> Event:
    return Event(t_s=round(time_s, 6), event="state", detail={"state": state})


def _time_of(angle: Callable[[float], float], border_deg: float, low: float, high: float) -> float:
    for _ in range(60):
        mid = 0.5 * (low + high)
        if degrees(angle(mid)) < border_deg:
            low = mid
        else:
            high = mid
    return high
