"""From the edges of one slide to its onset, by the method that the edges allow."""

import math
from typing import Literal, NamedTuple

import msgspec

from rig.analysis.edges import SLOWNESS, BeamRecord, Pass, slide_time_s
from rig.analysis.onset import NoOnset, Onset, Travel, distance_mm, onset_of_one, solve_onset
from rig.analysis.plane import Plane
from rig.runfile.model import Flag

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
    records: list[BeamRecord], geometry: Geometry, angle_deg: float, rate_deg_s: float, end_s: float
) -> Case | None:
    """Pick the edges of the slide.

    Args:
        records: what each beam saw, upper beam first.
        geometry: the distances.
        angle_deg: inclination near the edges, for the bound on the time of a pass.
        rate_deg_s: rate of the raise.
        end_s: when the record ends.

    Returns:
        None if no pass can be the slide.
    """

    def longest(from_mm: float, to_mm: float) -> float:
        slowest = slide_time_s(to_mm, angle_deg, rate_deg_s)
        return 0.2 + SLOWNESS * (slowest - slide_time_s(from_mm, angle_deg, rate_deg_s))

    passes = records[0].passes
    if not passes:
        return None
    limit = longest(geometry.to_break_mm, geometry.to_clear_mm)
    good = [p for p in passes if p.clear_s is not None and p.clear_s - p.broken_s <= limit]
    flags: tuple[Flag, ...] = ()
    if good:
        main = good[0]
        if passes[0] is not main:
            flags = ("edge_crept",)
        second = _following(records, main)
        return Case("four" if second is not None else "two", main, second, flags)

    main = passes[-1]
    others = records[1].passes if len(records) > 1 else []
    after = [p for p in others if p.broken_s > main.broken_s]
    far = geometry.to_break_mm + geometry.spacing_mm
    if (
        after
        and main.clear_s is None
        and after[0].broken_s - main.broken_s <= longest(geometry.to_break_mm, far)
    ):
        return Case("leading", main, after[0], ("stalled_in_slide",))
    if main.clear_s is None:
        if end_s - main.broken_s > limit:
            return None
        return Case("break_only", main, None, ())
    if after:
        second = after[0]
        if second.broken_s - main.broken_s <= longest(geometry.to_break_mm, far):
            return Case("leading", main, second, ("edge_crept", "stalled_in_slide"))
        if (
            second.clear_s is not None
            and second.clear_s > main.clear_s > second.broken_s
            and main.clear_s - second.broken_s <= longest(far, geometry.to_clear_mm)
        ):
            return Case("second", main, second, ("edge_crept",))
    return Case("clear_only", main, None, ("edge_crept", "gap_unknown"))


def _following(records: list[BeamRecord], main: Pass) -> Pass | None:
    """The pass of the second beam that follows one of the first, if it is whole."""
    if len(records) < 2 or main.clear_s is None:
        return None
    for other in records[1].passes:
        if other.clear_s is not None and other.broken_s > main.broken_s:
            return other if other.clear_s > main.clear_s else None
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
        far = Travel(second.broken_s, geometry.to_break_mm + spacing)
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
