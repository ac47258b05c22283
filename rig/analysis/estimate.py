"""From the edges of one slide to its onset, by the method that the edges allow."""

import math
from collections.abc import Callable
from typing import Literal, NamedTuple

import msgspec

from rig.analysis.edges import BeamRecord, Pass
from rig.analysis.onset import NoOnset, Onset, Travel, distance_mm, onset_of_one, solve_onset
from rig.analysis.plane import Plane
from rig.runfile.model import Flag
from rig.sliding import free_time_s, longest_pass_s

Method = Literal["four_edge", "two_edge", "two_edge_limit", "one_edge", "by_hand"]

KINETIC_RATIOS = (0.6, 1.0)
"""Bounds of µk/µs where only one edge is known."""

LEAST_GAP_MM = 0.3
"""Slumped fill may have eaten up the gap; the bag then starts this far from the beam."""


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
    pair_error_mm: float = 0.0
    """Added to the spacing as the leading edge sees it; its value is 0."""
    overhang_mm: float = 2.0
    """How far slumped fill hangs beyond the first beam before the slide, if it broke it."""
    u_overhang_mm: float = 1.2

    @property
    def to_break_mm(self) -> float:
        """From the start to the first break: fill slumps towards the beam before the slide."""
        return max(self.gap_mm - self.slump_mm, LEAST_GAP_MM)

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


class Case(NamedTuple):
    """The edges that belong to the slide, and what they allow."""

    kind: Literal["two", "four", "second", "leading", "break_only", "clear_only"]
    first: Pass
    second: Pass | None
    flags: tuple[Flag, ...]

    @property
    def first_edge_s(self) -> float:
        """The edge after which the bag has surely moved."""
        if self.kind == "clear_only" and self.first.clear_s is not None:
            return self.first.clear_s
        if self.kind == "second" and self.second is not None:
            return self.second.broken_s
        return self.first.broken_s

    @property
    def last_edge_s(self) -> float:
        """The last edge in use."""
        edges = [self.first.broken_s, self.first.clear_s]
        if self.second is not None:
            edges += [self.second.broken_s, self.second.clear_s]
        return max(edge for edge in edges if edge is not None)

    def delayed(self, seconds: float) -> "Case":
        """The same with all edges later."""

        def late(one: Pass) -> Pass:
            clear = None if one.clear_s is None else one.clear_s + seconds
            return Pass(one.broken_s + seconds, clear)

        second = None if self.second is None else late(self.second)
        return self._replace(first=late(self.first), second=second)


class Solved(NamedTuple):
    """One onset; the angle is read off the ramp."""

    onset_s: float
    mu_kinetic: float | None
    method: Method
    half_range_s: float = 0.0
    """Half the distance between the onsets at the bounds of µk, where µk is not known."""
    misfit_mm: float = 0.0
    gap_mm: float | None = None
    length_mm: float | None = None


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


def solve(case: Case, plane: Plane, geometry: Geometry, earliest_s: float) -> Solved | NoOnset:
    """The onset of one case."""
    first, second, spacing = case.first, case.second, geometry.spacing_mm
    latest_s = case.first_edge_s
    to_break = Travel(first.broken_s, geometry.to_break_mm)
    if case.kind == "break_only":
        return _one_edge(plane, to_break, earliest_s)
    if case.kind == "leading" and second is not None:
        pair = Travel(second.broken_s, spacing, first.broken_s)
        return _two_edge(solve_onset(plane, to_break, pair, earliest_s, latest_s))
    assert first.clear_s is not None  # noqa: S101 - the other cases have a clear edge
    to_clear = Travel(first.clear_s, geometry.to_clear_mm)
    if case.kind == "clear_only":
        return _one_edge(plane, to_clear, earliest_s)
    if case.kind == "two" or second is None or second.clear_s is None:
        return _two_edge(solve_onset(plane, to_break, to_clear, earliest_s, latest_s))
    clear_pair = Travel(second.clear_s, spacing, first.clear_s)
    if case.kind == "second":
        far = Travel(second.broken_s, spacing - geometry.overhang_mm)
        return _two_edge(solve_onset(plane, far, clear_pair, earliest_s, latest_s))
    break_pair = Travel(second.broken_s, spacing + geometry.pair_error_mm, first.broken_s)
    found = solve_onset(plane, break_pair, clear_pair, earliest_s, latest_s)
    if isinstance(found, Onset) and found.kind == "root" and found.mu_kinetic is not None:
        gap = distance_mm(plane, first.broken_s, found.onset_s, found.mu_kinetic)
        reach = distance_mm(plane, first.clear_s, found.onset_s, found.mu_kinetic)
        return Solved(
            found.onset_s,
            found.mu_kinetic,
            "four_edge",
            gap_mm=gap,
            length_mm=reach - gap - geometry.slump_mm,
        )
    return _two_edge(solve_onset(plane, to_break, clear_pair, earliest_s, latest_s))


def _two_edge(found: Onset | NoOnset) -> Solved | NoOnset:
    if isinstance(found, NoOnset):
        return found
    method: Method = "two_edge" if found.kind == "root" else "two_edge_limit"
    return Solved(found.onset_s, found.mu_kinetic, method, misfit_mm=found.misfit_mm)


def _one_edge(plane: Plane, edge: Travel, earliest_s: float) -> Solved | NoOnset:
    """The middle of the onsets at the bounds of µk; µk itself stays unknown."""
    low, high = (
        onset_of_one(plane, edge, ratio, earliest_s, edge.until_s) for ratio in KINETIC_RATIOS
    )
    if low is None or high is None:
        return NoOnset("late")
    return Solved((low + high) / 2.0, None, "one_edge", half_range_s=abs(low - high) / 2.0)
