"""Which edges of the beams belong to the slide.

A bag that slides passes a beam within a time that the law of sliding bounds. Fill that slumps into
the beam breaks it too, but then the bag does not follow; fibres, dust, sunlight and a warped
board make short or many edges. What cannot be distinguished is left open, with a flag.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rig.runfile.model import Event
from rig.sliding import SHORTEST_PASS_S

JOIN_S = 0.03
"""A beam that is free for less than this is still broken: the bag's edge is soft and bounces."""

MOST_EDGES = 12
"""More edges of one beam than this in one raise are chatter: sunlight, or a grazing board."""


class Pass(NamedTuple):
    """The beam was broken from `broken_s` to `clear_s` (None: not clear again)."""

    broken_s: float
    clear_s: float | None


class BeamRecord(NamedTuple):
    """What one beam saw during the raise; edge times are corrected for the response."""

    passes: list[Pass]
    """Passes long enough for a bag, and the one that never ended."""
    disturbances: int
    """Passes too short for a bag."""
    edges: int
    broken_at_start: bool
    after: int
    """Edges while the board was lowered, when nothing should pass the beam."""
    inverted: bool = False
    """It became clear before it was broken: its two states are swapped."""


def beam_record(
    events: Sequence[Event],
    beam: int,
    from_s: float,
    to_s: float,
    response_s: float,
    lowered_s: float = math.inf,
) -> BeamRecord:
    """The passes of one beam between two times.

    Args:
        events: all events of the run.
        beam: 1 is the upper beam.
        from_s: when the raise started.
        to_s: when the raise had ended.
        response_s: the receiver's delay, taken off the edge times.
        lowered_s: when the board was down again.
    """
    edges = sorted(
        (event.t_s, event.event == "beam_broken")
        for event in events
        if event.event in ("beam_broken", "beam_clear") and event.detail.get("beam", 1) == beam
    )
    before = [broken for t_s, broken in edges if t_s < from_s]
    within = [(t_s - response_s, broken) for t_s, broken in edges if from_s <= t_s <= to_s]
    broken_at_start = bool(before) and before[-1]
    inverted = bool(within) and not within[0][1] and not broken_at_start
    joined: list[Pass] = []
    start: float | None = None
    for t_s, broken in within:
        if broken and start is None:
            start = t_s
            if joined and joined[-1].clear_s is not None and t_s - joined[-1].clear_s < JOIN_S:
                start = joined.pop().broken_s
        elif not broken and start is not None:
            joined.append(Pass(start, t_s))
            start = None
    if start is not None:
        joined.append(Pass(start, None))
    passes = [p for p in joined if p.clear_s is None or p.clear_s - p.broken_s >= SHORTEST_PASS_S]
    after = sum(to_s < t_s < lowered_s for t_s, _ in edges)
    return BeamRecord(
        passes, len(joined) - len(passes), len(within), broken_at_start, after, inverted
    )
