"""The blade on the board: its motor, the bag that it pushes, and what of both stands in the beams.

Places are in mm uphill of the board's lower edge. The blade's place is that of its uphill face; a
bag lies from its leading (downhill) to its trailing edge.
"""

from dataclasses import dataclass, replace
from math import cos, hypot, radians, sin, sqrt

import msgspec

from rig.settings.checks import blade_pulses_per_mm
from rig.settings.model import Settings
from rig.twin.draws import draw_placing
from rig.twin.placed import PlacedBag
from rig.twin.scenario import BladeTruth, PlacingDraw, Scenario
from rig.twin.streams import stream

STOP_BELOW_MM = 3.0
"""The lower hard stop lies this far below the park place."""
MAX_SPRINGBACK_MM = 2.0
SKEW_DEG = 2.0
MAX_SKEW_DEG = 6.0
FOLDED_SHARE = (0.5, 0.8)
"""Length of a folded bag as a share of its own."""
LAID_MM = (0.2, 4.0)
"""A person lays the bag this near to the blade."""


@dataclass(frozen=True)
class PushDraw:
    """What one push makes of a soft bag."""

    springback_mm: float
    skew_deg: float
    length_mm: float
    is_folded: bool


def draw_push(
    seed: int, scenario: Scenario, settings: Settings, number: int, push: int
) -> PushDraw:
    """The `push`-th push in all, for the `number`-th placing."""
    truth = scenario.blade
    series = (scenario.session, scenario.series)
    random = stream(seed, "push", *series, number, push)
    back, chance, share = random.random(), random.random(), random.uniform(*FOLDED_SHARE)
    skew = float(random.normal(0.0, SKEW_DEG))
    skew = max(-MAX_SKEW_DEG, min(MAX_SKEW_DEG, skew))
    length, width = settings.bag.length_mm, settings.bag.width_mm
    is_folded = bool(chance < truth.fold_share)
    return PushDraw(
        springback_mm=(
            MAX_SPRINGBACK_MM * back if truth.springback_mm is None else truth.springback_mm
        ),
        skew_deg=skew,
        length_mm=(length * cos(radians(skew)) + width * sin(radians(abs(skew))))
        * (share if is_folded else 1.0),
        is_folded=is_folded,
    )


def pushed_placing(
    seed: int, scenario: Scenario, settings: Settings, number: int, push: int = 1
) -> PlacingDraw:
    """How the bag lies after one good push, without any pulses; for the fast simulator."""
    blade, draw = settings.blade, draw_push(seed, scenario, settings, number, push)
    thickness = blade.thickness_mm + scenario.blade.thickness_error_mm
    return msgspec.structs.replace(
        draw_placing(seed, scenario, settings, number),
        gap_mm=max(0.3, thickness + blade.overshoot_mm - draw.springback_mm),
        skew_deg=draw.skew_deg,
        length_mm=draw.length_mm,
    )


def stated_gap_mm(settings: Settings, truth: BladeTruth) -> tuple[float, float, int]:
    """Gap, its uncertainty (mm) and steps to the clear edge, as the machine would state them."""
    blade, per_mm = settings.blade, blade_pulses_per_mm(settings)
    way_mm = settings.beam.position_mm + settings.blade.thickness_mm - settings.board.catch_mm
    gap_mm = blade.thickness_mm + blade.overshoot_mm - blade.springback_mm
    u_gap_mm = hypot(blade.u_thickness_mm, blade.u_springback_mm, truth.play_mm / sqrt(12.0))
    return round(gap_mm, 3), round(u_gap_mm, 3), round((way_mm + truth.play_mm) * per_mm)


class BladeBody:
    """The blade and its drive; `motor_mm` is what the pulses say, `place_mm` where it is."""

    def __init__(self, settings: Settings, truth: BladeTruth) -> None:
        self.direction = 1
        self.is_enabled = False
        self.lost = 0
        """Pulses that did not move it."""
        self.last_s = -1e9
        self._mm = 1.0 / blade_pulses_per_mm(settings)
        self._play_mm = truth.play_mm
        self._park_mm = settings.board.catch_mm
        self._motor = round(truth.start_mm / self._mm)
        self._highest_mm = settings.blade.travel_mm
        if truth.jam_mm is not None:
            self._highest_mm = min(self._highest_mm, truth.jam_mm)
        self.thickness_mm = settings.blade.thickness_mm + truth.thickness_error_mm
        self.place_mm = self._park_mm + truth.start_mm

    @property
    def is_parked(self) -> bool:
        """Whether a switch at the park place is open."""
        return self.place_mm <= self._park_mm

    def step(self, now_s: float) -> bool:
        """A pulse came; returns whether the drive followed."""
        if not self.is_enabled:
            return False
        self.last_s = now_s
        motor_mm = (self._motor + self.direction) * self._mm
        if not -STOP_BELOW_MM <= motor_mm <= self._highest_mm:
            self.lost += 1
            return False
        self._motor += self.direction
        high_mm = self._park_mm + motor_mm
        self.place_mm = max(high_mm - self._play_mm, min(self.place_mm, high_mm))
        return True


class Pusher:
    """Blade and bag together.

    Args:
        seed: of all draws.
        scenario: what is true.
        settings: what the rig is said to be.
        n_beams: 1 or 2.
    """

    def __init__(self, seed: int, scenario: Scenario, settings: Settings, n_beams: int) -> None:
        self.body = BladeBody(settings, scenario.blade)
        self.pushes = 0
        """Pushes in which the blade met the bag."""
        self.draw: PushDraw | None = None
        """Of the push under way, or the last one."""
        self._seed, self._settings = seed, settings
        self._touches = False
        self._is_gone = False
        spacing = settings.beam.second_spacing_mm + scenario.beam.spacing_error_mm
        self._beams_mm = [settings.beam.position_mm - n * spacing for n in range(n_beams)]
        self._sticky_mm = scenario.beam.hysteresis_mm
        self._leading_mm = self._length_mm = 0.0

    def laid(self, bag: PlacedBag) -> PlacedBag:
        """A person has laid the bag against the blade."""
        low, high = LAID_MM
        share = float(stream(self._seed, "laid", bag.placing.number).random())
        self._leading_mm = self.body.place_mm + low + (high - low) * share
        self._length_mm = bag.placing.length_mm
        return self._lying(bag, bag.placing, bag.placed_s)

    def come_to_rest(self, bag: PlacedBag, now_s: float) -> PlacedBag:
        """The board is level again after a raise: the bag lies where its slide has left it."""
        slide, placing, scenario = bag.slide, bag.placing, bag.scenario
        travel_mm = 0.0 if slide is None else 1000.0 * slide.travel_m
        self._length_mm = placing.length_mm
        self._leading_mm = self._beams_mm[0] + placing.gap_mm - travel_mm
        self._leading_mm = max(self._leading_mm, self.body.place_mm)
        lost_after = scenario.bag.lost_after
        if lost_after is not None and placing.number >= lost_after and travel_mm > 0.0:
            self._is_gone = True
        following = draw_placing(self._seed, scenario, self._settings, placing.number + 1)
        following = msgspec.structs.replace(
            following, skew_deg=placing.skew_deg, length_mm=placing.length_mm
        )
        return self._lying(bag, following, now_s)

    def push(self, bag: PlacedBag, now_s: float) -> PlacedBag | None:
        """The blade has moved by a pulse; returns the placed bag when the blade lets go of it."""
        front_mm = self.body.place_mm
        if self._is_gone:
            return None
        if self.body.direction > 0:
            if front_mm >= self._leading_mm:
                if not self._touches:
                    self._touches = True
                    self._begin_push(bag)
                self._leading_mm = front_mm
        elif self._touches and front_mm < self._leading_mm and self.draw is not None:
            self._touches = False
            self._leading_mm -= self.draw.springback_mm
            placing = msgspec.structs.replace(bag.placing, skew_deg=self.draw.skew_deg)
            return self._lying(bag, placing, now_s)
        return None

    def _begin_push(self, bag: PlacedBag) -> None:
        self.pushes += 1
        self.draw = draw_push(
            self._seed, bag.scenario, self._settings, bag.placing.number, self.pushes
        )
        self._length_mm = self.draw.length_mm

    def _lying(self, bag: PlacedBag, placing: PlacingDraw, now_s: float) -> PlacedBag:
        placing = msgspec.structs.replace(
            placing, gap_mm=self._leading_mm - self._beams_mm[0], length_mm=self._length_mm
        )
        return replace(
            bag, placing=placing, placed_s=now_s, dwell_s=None, slide=None, is_gone=self._is_gone
        )

    def covers(self, beam: int, is_broken: bool) -> bool:
        """Whether bag or blade stands in a beam (from 1) that is broken or not until now."""
        place_mm, more_mm = self._beams_mm[beam - 1], self._sticky_mm if is_broken else 0.0
        front_mm = self.body.place_mm
        if front_mm - self.body.thickness_mm - more_mm <= place_mm <= front_mm + more_mm:
            return True
        trailing_mm = self._leading_mm + self._length_mm
        lies_in = self._leading_mm - more_mm <= place_mm <= trailing_mm + more_mm
        return lies_in and not self._is_gone
