"""Where the bag lies and what its edges do on the way; distances downhill from its start place."""

from dataclasses import dataclass
from math import cos, exp, pi, radians, sin

TURNS = 60
"""Most rounds of the search for the travel at which an edge passes; each gains a digit or so."""


@dataclass(frozen=True)
class BagPath:
    """One placing's distances.

    The leading edge is ahead of the bag by the slump, the trailing edge follows by a share of it.
    A bag that turns while it slides reaches further ahead, and lags further behind, as it gets
    askew; the fill may go on running in the slide.
    """

    gap_mm: float
    """Leading edge to the first beam, as placed."""
    length_mm: float
    """Leading to trailing edge along the slide, as placed."""
    slump_mm: float = 0.0
    """How far the fill pushes the leading edge downhill before the bag slides."""
    slump_done: float = 0.85
    """Share of µs, up to 1, at which the fill has slumped all the way."""
    slump_is_sudden: bool = False
    """All of the slump comes there at once, as when the fill gives way."""
    slump_follows: float = 0.0
    late_slump_mm: float = 0.0
    late_slump_travel_mm: float = 15.0
    body_mm: tuple[float, float] = (0.0, 0.0)
    """Length and width of the bag itself."""
    skew_deg: float = 0.0
    turn_deg: float = 0.0
    turn_travel_mm: float = 150.0
    creep_mm_s: float = 0.0
    creep_tangent: float = 0.008
    yaw_rad: float = 0.0
    """Turn of the board on the cradle."""
    beam_offsets_mm: tuple[float, ...] = (0.0,)
    catch_travel_mm: float = 290.0
    stall_at_mm: float | None = None
    stall_width_mm: float = 20.0
    stall_gain: float = 0.0
    """Friction rises by this share at the middle of the stalling spot."""

    def travel_mm(self, place_mm: float, is_leading: bool) -> float:
        """Travel of the bag at which an edge passes a place that lies so far ahead of it."""
        slump = self.slump_mm if is_leading else self.slump_follows * self.slump_mm
        still = travel = place_mm - slump
        if self.turn_deg == 0.0 and self.late_slump_mm == 0.0:
            return travel
        for _ in range(TURNS):
            before, travel = travel, still - self._ahead_mm(travel, is_leading)
            if abs(travel - before) < 1e-9:
                break
        return travel

    def _ahead_mm(self, travel_mm: float, is_leading: bool) -> float:
        """How much further ahead an edge is than at the onset."""
        share = sin(2.0 * pi * travel_mm / self.turn_travel_mm)
        longer = self._along_mm(self.skew_deg + self.turn_deg * share)
        half = 0.5 * (longer - self._along_mm(self.skew_deg))
        if not is_leading:
            return -half
        late = 1.0 - exp(-max(0.0, travel_mm) / self.late_slump_travel_mm)
        return half + self.late_slump_mm * late

    def _along_mm(self, skew_deg: float) -> float:
        """Length along the slide of a bag that lies so far askew."""
        length, width = self.body_mm
        skew = radians(abs(skew_deg))
        return length * cos(skew) + width * sin(skew)
