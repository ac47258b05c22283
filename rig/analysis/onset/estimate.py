"""Which edges belong to the slide, and the onset that they tell."""

import math
from collections.abc import Callable
from typing import Literal, NamedTuple

import msgspec
import numpy as np

from rig.analysis.onset.edges import BeamRecord, Pass
from rig.analysis.onset.fit import LEAST_MM, Distances, SeenEdge
from rig.analysis.onset.posterior import OnsetPosterior, posterior
from rig.analysis.onset.slump import LEAST_SLUMPED, LIKELIER, slump_log_odds
from rig.runfile.model import Flag
from rig.sliding import free_time_s, longest_pass_s

Method = Literal["four_edge", "two_edge", "two_edge_limit", "one_edge", "by_hand"]

FALSE_ALARM_MISFITS = {1: (2.3, 2.3, 1.9), 2: (8.0, 8.0, 8.0)}
"""Misfit (χ²) that 1 % of good slides exceed, by beams, at `FALSE_ALARM_RATES`; simulated by
`tests.bench.onset_misfit`."""
FALSE_ALARM_RATES = (0.1, 0.3, 1.0)

OVERHANG_MM, U_SLUMPED_MM = 2.0, 4.0
"""Where the leading edge lies at the onset, once something broke the first beam before: anywhere
from where it should be (it was a fibre) to hanging over the beam by this (the fill slumped)."""


class Geometry(msgspec.Struct, frozen=True, kw_only=True):
    """Distances of one run in mm, with standard uncertainties."""

    gap_mm: float
    u_gap_mm: float
    slump_mm: float
    u_slump_mm: float
    length_mm: float
    u_length_mm: float
    spacing_mm: float
    u_spacing_mm: float

    @property
    def to_break_mm(self) -> float:
        """From the start to the first break: fill slumps towards the beam before the slide."""
        return max(self.gap_mm - self.slump_mm, LEAST_MM)

    @property
    def to_clear_mm(self) -> float:
        """From the start to the first clear edge; slump leaves the trailing edge in place."""
        return self.gap_mm + self.length_mm

    @property
    def u_to_break_mm(self) -> float:
        """Standard uncertainty of the distance to the first break."""
        return math.hypot(self.u_gap_mm, self.u_slump_mm)

    @property
    def may_slump_through(self) -> bool:
        """True if slumped fill can reach the beam, as far as gap and slump are known."""
        return self.gap_mm - self.slump_mm <= 3.0 * self.u_to_break_mm

    def distances(self, slumped: bool = False) -> Distances:
        """The same as the posterior takes them."""
        slump = (self.slump_mm, self.u_slump_mm)
        if slumped:
            middle = (self.slump_mm + max(self.gap_mm, self.slump_mm) + OVERHANG_MM) / 2.0
            slump = (middle, math.hypot(self.u_slump_mm, U_SLUMPED_MM))
        return Distances(
            (self.gap_mm, self.u_gap_mm),
            slump,
            (self.length_mm, self.u_length_mm),
            (self.spacing_mm, self.u_spacing_mm),
        )


Kind = Literal["two", "four", "second", "leading", "break_only", "clear_only"]

USED: dict[Kind, tuple[tuple[int, bool], ...]] = {
    "two": ((0, True), (0, False)),
    "four": ((0, True), (1, True), (0, False), (1, False)),
    "second": ((1, True), (0, False), (1, False)),
    "leading": ((0, True), (1, True)),
    "break_only": ((0, True),),
    "clear_only": ((0, False),),
}
"""Beam, and whether it is the leading edge, of the edges that count."""


class Case(NamedTuple):
    """The edges that belong to the slide, and what they allow."""

    kind: Kind
    first: Pass
    second: Pass | None
    flags: tuple[Flag, ...]

    def edges(self) -> list[SeenEdge]:
        """Those that count, in the order of their times."""
        seen = [(self.first.broken_s, 0, True), (self.first.clear_s, 0, False)]
        if self.second is not None:
            seen += [(self.second.broken_s, 1, True), (self.second.clear_s, 1, False)]
        return sorted(
            SeenEdge(time_s, beam, leading)
            for time_s, beam, leading in seen
            if time_s is not None and (beam, leading) in USED[self.kind]
        )

    @property
    def first_edge_s(self) -> float:
        """The edge after which the bag has surely moved."""
        return self.edges()[0].time_s

    @property
    def last_edge_s(self) -> float:
        """The last edge in use."""
        return self.edges()[-1].time_s


class Solved(NamedTuple):
    """The onset of one case; the angle is read off the ramp."""

    found: OnsetPosterior
    method: Method
    edges: list[SeenEdge]
    misfit: float
    """χ² of all edges, also where they were not all used in the end."""
    too_quick: bool = False
    """The bag was quicker than without most of its friction."""
    flag: Literal["slumped", "creep"] | None = None
    """The edges do not fit: see `solve`."""
    slump_odds: float = -math.inf
    """Logarithm of the odds that the first edge was a slump, where the edges leave a doubt."""

    @property
    def onset_s(self) -> float:
        """Time of the onset."""
        return self.found.onset_s

    @property
    def mu_kinetic(self) -> float | None:
        """Kinetic coefficient; one edge alone tells none."""
        return None if self.method == "one_edge" else self.found.mu_kinetic


def choose(
    records: list[BeamRecord],
    geometry: Geometry,
    angle_deg: Callable[[float], float],
    rate_deg_s: float,
    end_s: float,
) -> Case | None:
    """Pick the edges of the slide.

    Args:
        records: what each beam saw, upper beam first.
        geometry: the distances.
        angle_deg: rough inclination at a time, for the bounds on the time of a pass.
        rate_deg_s: rate of the raise.
        end_s: when the record ends.

    Returns:
        None if no pass can be the slide.
    """

    def can_be(from_mm: float, to_mm: float, from_s: float, to_s: float) -> bool:
        """True if a slide can take this long between two places."""
        angle = min(max(angle_deg(from_s), 2.0), 50.0)
        longest_s = longest_pass_s(from_mm, to_mm - from_mm, rate_deg_s)
        fastest = free_time_s(to_mm, angle) - free_time_s(from_mm, angle)
        return 0.8 * fastest <= to_s - from_s <= 0.2 + longest_s

    near, clear = geometry.to_break_mm, geometry.to_clear_mm
    far = near + geometry.spacing_mm
    passes = records[0].passes
    others = records[1].passes if len(records) > 1 else None
    quick: list[Pass] = []
    for main in passes:
        if main.clear_s is None:
            continue
        if not can_be(near, clear, main.broken_s, main.clear_s):
            if main.clear_s - main.broken_s < free_time_s(clear, 45.0) - free_time_s(near, 45.0):
                quick.append(main)
            continue
        second = _following(others or [], main)
        if others is not None and second is None:
            # The bag is longer than the beams are apart: what passed the first was no bag.
            quick.append(main)
            continue
        flags: tuple[Flag, ...] = ()
        earlier = passes[: passes.index(main)]
        if quick:
            flags += ("early_disturbance",)
        if any(one not in quick for one in earlier):
            flags += ("edge_crept",)
        whole = second is not None and second.clear_s is not None
        return Case("four" if whole else "two", main, second if whole else None, flags)

    left = [one for one in passes if one not in quick]
    if not left:
        return None
    main = left[-1]
    after = [one for one in others or [] if one.broken_s > main.broken_s]
    if after and can_be(near, far, main.broken_s, after[0].broken_s):
        return Case("leading", main, after[0], ("stalled_in_slide",))
    if main.clear_s is None:
        can_go_on = can_be(near, clear, main.broken_s, max(end_s, main.broken_s + 0.3))
        return Case("break_only", main, None, ()) if can_go_on else None
    if after and after[0].clear_s is not None and after[0].clear_s > main.clear_s:
        if can_be(far, clear, after[0].broken_s, main.clear_s):
            return Case("second", main, after[0], ("edge_crept",))
    return Case("clear_only", main, None, ("edge_crept", "gap_unknown"))


def _following(passes: list[Pass], main: Pass) -> Pass | None:
    """The pass of the second beam that began while the first was broken."""
    for one in passes:
        if main.clear_s is not None and main.broken_s < one.broken_s < main.clear_s:
            return one if one.clear_s is None or one.clear_s > main.clear_s else None
    return None


def most_at(limits: tuple[float, ...], rate_deg_s: float) -> float:
    """What 1 % of good slides exceed, between the rates where it was simulated."""
    return float(np.interp(math.log(rate_deg_s), np.log(FALSE_ALARM_RATES), limits))


def solve(
    case: Case, geometry: Geometry, angle_deg: float, rate_deg_s: float, u_response_ms: float
) -> Solved:
    """The onset of one case.

    A first edge that is likelier from fill that slumped into the beam is `slumped`: the others give
    the onset, if they fit. Edges that fit no law of the family come from a bag that crept, `creep`,
    and all of them give it. One beam cannot tell these, and says `slumped`.

    Args:
        case: the edges.
        geometry: the distances.
        angle_deg: inclination at the first edge.
        rate_deg_s: rate of the raise before it.
        u_response_ms: standard uncertainty of the beams' delay.
    """
    edges = case.edges()
    has_slumped = case.kind in ("second", "clear_only")

    def fitted(used: list[SeenEdge], slumped: bool) -> Solved:
        then_deg = angle_deg + rate_deg_s * (used[0].time_s - edges[0].time_s)
        further = geometry.distances(slumped=True) if len(used) == 4 else None
        found = posterior(
            used,
            geometry.distances(slumped),
            then_deg,
            rate_deg_s,
            u_response_ms,
            slumped=further,
        )
        method: Method = "two_edge_limit" if found.limit == "low" else "two_edge"
        if len(used) == 1:
            method = "one_edge"
        elif len(used) == 4:
            method = "four_edge"
        return Solved(found, method, used, found.misfit)

    solved = fitted(edges, has_slumped)
    fits = solved.misfit <= most_at(FALSE_ALARM_MISFITS[2 if len(edges) > 2 else 1], rate_deg_s)
    if not fits and solved.found.limit == "high":
        return solved._replace(too_quick=True)
    first = next((edge for edge in edges if edge.leading and edge.beam == 0), None)
    if first is None or (fits and solved.found.slumped < LEAST_SLUMPED):
        return solved if fits else solved._replace(flag="creep")
    without = fitted([edge for edge in edges if edge != first], slumped=True)
    odds = slump_log_odds(solved.found, without.found, first.time_s, rate_deg_s)
    is_slump = not fits or odds > LIKELIER
    if is_slump and without.misfit <= most_at(FALSE_ALARM_MISFITS[1], rate_deg_s):
        return without._replace(flag="slumped", misfit=solved.misfit, slump_odds=odds)
    return solved._replace(flag=None if fits else "creep", slump_odds=odds)
