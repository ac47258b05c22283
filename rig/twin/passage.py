"""The bag's passage through the beams in a simulated raise: edges, states and the raise's end."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import degrees

from rig.runfile.model import Event, Flag
from rig.settings.model import Cycle
from rig.twin.receivers import Receivers
from rig.twin.slide import Edge, Slide

FLICKER_S = 0.03
"""A beam that closes again sooner than any bag can pass was not cleared by the bag."""
CHUNK_S = 0.25


@dataclass
class Passage:
    """What came of one raise, as the machine that watches it sees it."""

    edges: list[Edge] = field(default_factory=list)
    """As the pins report them: outputs of the receivers, their response included."""
    events: list[Event] = field(default_factory=list)
    flags: list[Flag] = field(default_factory=list)
    broken_s: float | None = None
    cleared_s: float | None = None


def watch(
    slide: Slide,
    receivers: Receivers,
    angle: Callable[[float], float],
    end_s: float,
    response_s: float,
) -> list[Edge]:
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
    bag: list[tuple[float, Edge | None]] = []
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
        edges += [Edge(time_s + response_s, beam, broken) for beam, broken in changes]
    return edges


def judge(edges: list[Edge], end_s: float, cycle: Cycle, n_beams: int) -> Passage:
    """Follow the edges as the machine's cycle does, up to the bag's clearing of the last beam.

    Args:
        edges: of the receivers, in order.
        end_s: when the raise ends unless the bag clears the last beam.
        cycle: time-outs.
        n_beams: 1 or 2.
    """
    passage = Passage()
    is_sliding, last_broken_s = False, None
    for time_s, beam, broken in edges:
        over = None if passage.cleared_s is None else time_s - passage.cleared_s
        if time_s > end_s or (over is not None and over > cycle.after_clear_s):
            break
        is_sliding = _time_out(passage, is_sliding, time_s, cycle)
        passage.edges.append(Edge(time_s, beam, broken))
        name = "beam_broken" if broken else "beam_clear"
        passage.events.append(Event(t_s=round(time_s, 6), event=name, detail={"beam": beam}))
        if broken:
            if not is_sliding:
                is_sliding, passage.broken_s = True, time_s
                passage.events.append(_state(time_s, "sliding"))
            if beam == n_beams:
                last_broken_s = time_s
        elif beam == n_beams and last_broken_s is not None:
            if time_s - last_broken_s >= FLICKER_S:
                passage.cleared_s = time_s
    _time_out(passage, is_sliding, end_s, cycle)
    if passage.cleared_s is None:
        passage.flags.append("no_slide" if passage.broken_s is None else "stalled_in_slide")
    return passage


def _time_out(passage: Passage, is_sliding: bool, now_s: float, cycle: Cycle) -> bool:
    """Back to raising when the bag has not cleared in time; returns whether it still slides."""
    if not is_sliding or passage.cleared_s is not None or passage.broken_s is None:
        return is_sliding
    limit_s = passage.broken_s + cycle.clear_timeout_s
    if now_s <= limit_s:
        return True
    if "edge_crept" not in passage.flags:
        passage.flags.append("edge_crept")
    passage.events.append(_state(limit_s, "raising"))
    return False


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
