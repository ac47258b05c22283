"""What an uneven raise does to a slide: the rate that counts, its limits, and its uncertainty.

**Pace.** The angle of a slide hangs on the rate. Laws outside the family move it by
`RATE_FREE_DEG`·r^(1/3) between no rate and r, so two slides at r and r·(1 + x) differ by up to
RATE_FREE_DEG/3 · r^(1/3) · x. That may not be more than what the law leaves open anyway,
`LAW_FLOOR_DEG`·r^(2/3): |x| ≤ 3·LAW_FLOOR_DEG/RATE_FREE_DEG · r^(1/3), which is 36 % at 1 °/s and
28 % at 0.5 °/s. Within, the same term stands in the budget.

**Jerk.** A bag at R from the hinge feels the board's acceleration α: the tangent of what it feels
differs from the board's by sin θ · R·α/g (along the board by R·ω²/g), as an acceleration a across
would by a/g. The smoother takes that off, but not all of it: R is known to 5 %, its own band ends
at 12 Hz, and the filters of the chip weaken what is quick, in all to about a fifth (`UNTOLD`). A
fifth of the difference may not be more than the law's floor either, and stands in the budget;
beyond, the slide is refused. What the accelerometer saw beyond the smooth path counts whole. So
does a moment before the onset at which the bag felt clearly more than at the onset itself, for
then it moved there already.
"""

import math

import numpy as np

from rig.analysis.angle.ramp import Ramp
from rig.analysis.angle.smoother import HandRamp, even_rate_deg_s
from rig.analysis.budget.parts import (
    RATE_FREE_DEG,
    Component,
    component_deg,
    law_floor_deg,
)
from rig.analysis.onset.estimate import Case, Geometry, Solved, solve
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile
from rig.sliding import most_pace_off

UNTOLD = 0.2
"""Part of the board's acceleration that the smoother does not tell."""
TURNS = 3
"""Rate and onset are found in turns; each takes the error to about a third."""
PACE_S = 1.0
"""Averaging time of the pace before the onset."""
SURE = 4.0
"""What the accelerometer sees beyond the path counts from this many of its own deviations."""


def most_felt_deg(rate_deg_s: float) -> float:
    """By how much the angle that the bag feels may differ from the board's in a slide."""
    return law_floor_deg(rate_deg_s) / UNTOLD


def solve_uneven(
    case: Case, geometry: Geometry, ramp: Ramp, found: Solved, u_response_ms: float
) -> Solved:
    """The onset with the even rate that amounts to the real raise between it and the first edge."""
    edge_s = case.first_edge_s
    angle = float(ramp.angle_deg(edge_s))
    for _ in range(TURNS):
        rate = even_rate_deg_s(ramp, found.onset_s, edge_s)
        if rate <= 0.02:
            return found
        found = solve(case, geometry, angle, rate, u_response_ms)
    return found


def uneven_parts(run: RunFile, hand: HandRamp, found: Solved, flags: list[Flag]) -> list[Component]:
    """Flag a slide that was raised too unevenly, and say what the unevenness leaves open."""
    onset_s, asked = found.onset_s, run.header.rate_deg_s
    last_s = max(edge.time_s for edge in found.edges)
    off = _off(hand.ramp, onset_s, found, asked)
    if off > most_pace_off(asked):
        flags.append("pace_off")
    felt = _felt_beyond(hand, onset_s, last_s, found.found.u_time_s)
    if felt > most_felt_deg(asked) or _felt_more_before(hand, onset_s):
        flags.append("jerked")
    pace_deg = RATE_FREE_DEG / 3.0 * asked ** (1.0 / 3.0) * off
    around = onset_s + found.found.u_time_s * np.array([-1.0, 0.0, 1.0])
    early, at, late = hand.ramp.angle_deg(around).tolist()
    rate = hand.ramp.rate_deg_s(onset_s)
    even = rate * found.found.u_time_s
    uneven = math.sqrt(((at - early - even) ** 2 + (late - at - even) ** 2) / 2.0)
    return [
        component_deg("pace of the hand", pace_deg, "run"),
        component_deg("jerks of the hand", UNTOLD * felt, "run"),
        component_deg("uneven raise at the onset", uneven, "run"),
    ]


def _off(ramp: Ramp, onset_s: float, found: Solved, asked: float) -> float:
    """How far the pace was off, as a share: before the onset, and on the way to the first edge."""
    first_s = min(edge.time_s for edge in found.edges)
    before = float(ramp.angle_deg(onset_s) - ramp.angle_deg(onset_s - PACE_S)) / PACE_S
    after = float(ramp.angle_deg(first_s) - ramp.angle_deg(onset_s - PACE_S))
    after /= first_s - onset_s + PACE_S
    return max(abs(before / asked - 1.0), abs(after / asked - 1.0))


def _felt_beyond(hand: HandRamp, onset_s: float, last_s: float, u_time_s: float) -> float:
    """The most that the bag felt beside the board's angle around its onset and up to an edge."""
    grid = hand.grid_s
    near = (grid > onset_s - 2.0 * u_time_s - 0.05) & (grid < last_s)
    smooth = float(np.max(np.abs(hand.felt_deg - hand.board_deg)[near], initial=0.0))
    seen = (hand.residual_s > onset_s - 2.0 * u_time_s - 0.05) & (hand.residual_s < onset_s + 0.05)
    most = float(np.max(np.abs(hand.residual_deg[seen]), initial=0.0))
    # It is beyond the smoother's band, so none of it was taken off.
    beyond = (most if most > SURE * hand.noise_deg else 0.0) / UNTOLD
    return max(smooth, beyond)


def _felt_more_before(hand: HandRamp, onset_s: float) -> bool:
    """Whether the bag felt more before its onset than at it, by more than is left open."""
    grid = hand.grid_s
    before = (grid > onset_s - 4.0) & (grid < onset_s - 0.1)
    if not before.any():
        return False
    at = float(hand.ramp.angle_deg(onset_s))
    beside = UNTOLD * np.abs(hand.felt_deg - hand.board_deg)[before]
    return bool(np.max(hand.felt_deg[before] - 2.0 * beside) > at + 2.0 * law_floor_deg(1.0))
