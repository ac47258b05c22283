"""The bag on the board: at rest, creeping, sliding, stuck or on the catch, and what beams see.

The equation of motion is s″ = g·(sin θ − µ·cos θ) with θ the total inclination. It is integrated
by the classical Runge–Kutta method; the start of sliding and each edge are found by root-finding
inside a step, so that their times do not depend on the steps.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import cbrt, exp, pi, sin
from typing import NamedTuple

from rig.twin.friction import Law
from rig.twin.ground import FLAT, Ground
from rig.twin.mechanics import G0_M_S2, Incline
from rig.twin.path import BagPath

Angle = Callable[[float], float]
"""Cradle angle (rad) at a time (s)."""

REST_SCAN_S = 0.25
BRISTLE_START = 0.9
"""Share of µs at which a law with a bristle is handed from its quasi-static to its full form."""
CREEP_FROM = 4.0
"""A bag creeps from this many `creep_tangent` below the hold on; 2 % of its creep come before."""
CREEP_STEP_S = 0.02


class BagEdge(NamedTuple):
    """The bag's leading (`broken`) or trailing edge passes a beam, numbered from 1."""

    time_s: float
    beam: int
    broken: bool


@dataclass
class SlideMotion:
    """One placing of the bag; `advance` moves it on through time.

    Args:
        law: the friction law with this placing's coefficients.
        incline: the board against gravity.
        path: distances.
        time_s: time of the placing.
        ground: what the board does to the bag.
    """

    law: Law
    incline: Incline
    path: BagPath
    time_s: float
    ground: Ground = FLAT
    speed_m_s: float = 0.0
    travel_m: float = 0.0
    is_sliding: bool = False
    is_caught: bool = False
    onset_time_s: float | None = None
    onset_deg: float | None = None
    crept_m: float = 0.0
    """Travel before the onset, by creep."""
    lost_share: float = 0.0
    """Of friction, by vibration, at the onset."""
    _is_creeping: bool = False
    _bristle_m: float = 0.0
    _slip_from_m: float = 0.0
    _is_aimed: bool = False
    _cosine: float = 1.0
    _known: tuple[float, tuple[float, float]] = (-1e300, (0.0, 1.0))
    """The latest time whose inclination was looked up, so that it is not looked up twice."""
    _slumped: dict[int, bool] = field(default_factory=dict)
    _targets: list[tuple[float, int, bool]] = field(default_factory=list)

    def __post_init__(self) -> None:
        gap, length = self.path.gap_mm, self.path.length_mm
        for beam, offset in enumerate(self.path.beam_offsets_mm, 1):
            self._targets.append((gap + offset, beam, True))
            self._targets.append((gap + offset + length, beam, False))
        self._targets.sort()

    @property
    def is_over(self) -> bool:
        """The bag is past all beams, or on the catch: no edge will come."""
        return self.is_caught or not self._targets

    def stay(self) -> None:
        """It lies on the catch already, or is not there at all: nothing will happen."""
        self.is_caught = True
        self._targets.clear()

    def wake_tangent(self) -> float:
        """At rest: the tangent of the bag's inclination below which nothing happens."""
        wake = self._start_tangent(self.ground.most_loss)
        for _, need in self._slump_needs():
            wake = min(wake, self._slump_tangent(need))
        return wake

    def wake_angle_rad(self) -> float | None:
        """The cradle angle at which that is, None if the board never gets there."""
        angle = self.incline.angle_for(self.wake_tangent())
        return None if angle is None else angle - self.ground.bend_rad(self.travel_m)

    def advance(self, until_s: float, angle: Angle) -> list[BagEdge]:
        """Move the bag on to a time; returns the beams' edges on the way, in order.

        Args:
            until_s: time to go to (s).
            angle: cradle angle over time, valid from the bag's time up to `until_s`.
        """
        edges: list[BagEdge] = []
        while self.time_s < until_s and not self.is_caught:
            if self._is_creeping:
                self._creep(until_s, angle, edges)
            elif self.is_sliding:
                self._slide(until_s, angle, edges)
            else:
                self._rest(until_s, angle, edges)
        self.time_s = max(self.time_s, until_s)
        return edges

    def _level(self, loss: float) -> float:
        """Tangent at which the bag slides from where it is."""
        return self.law.mu_static * self._spot(self.travel_m) * (1.0 - loss)

    def _start_tangent(self, loss: float) -> float:
        """Tangent up to which the bag stays at rest where it is."""
        level = self._level(loss)
        if self.law.is_dynamic:
            return BRISTLE_START * level
        return level - CREEP_FROM * self.path.creep_tangent if self._may_creep else level

    @property
    def _may_creep(self) -> bool:
        creeps = self.path.creep_mm_s > 0.0 and not self.law.is_dynamic
        return creeps and self.onset_time_s is None

    def _spot(self, travel_m: float) -> float:
        """Factor of friction by what the bag lies on."""
        grip = self.ground.grip(travel_m) if self.ground.spots else 1.0
        if self.path.stall_at_mm is None:
            return grip
        place = (1000.0 * travel_m - self.path.stall_at_mm) / self.path.stall_width_mm
        if not 0.0 < place < 1.0:
            return grip
        return grip * (1.0 + self.path.stall_gain * sin(pi * place) ** 2)

    def _tangent(self, angle_rad: float) -> float:
        """Of the bag's inclination at a cradle angle."""
        return self.incline.tangent(angle_rad + self.ground.bend_rad(self.travel_m))

    def _loss(self, angle: Angle, from_s: float, to_s: float) -> float:
        """Share of friction that vibration takes over a stretch of time."""
        if self.ground.shake is None:
            return 0.0
        start = angle(from_s)
        return self.ground.loss(start, (angle(to_s) - start) / (to_s - from_s))

    def _slump_needs(self) -> list[tuple[int, float]]:
        """Beams that the slumping edge can still break, each with the slump it takes (mm)."""
        if self.onset_time_s is not None:
            return []
        return [
            (beam, place)
            for place, beam, broken in self._targets
            if broken and place <= self.path.slump_mm and not self._slumped.get(beam)
        ]

    def _slump_tangent(self, need_mm: float) -> float:
        """The fill creeps with the cube of the tangent, or comes at once, before the slide."""
        share = max(0.0, need_mm) / max(self.path.slump_mm, 1e-12)
        part = 1.0 if self.path.slump_is_sudden else cbrt(share)
        return self.path.slump_done * self.law.mu_static * part

    def _rest(self, until_s: float, angle: Angle, edges: list[BagEdge]) -> None:
        end = min(until_s, self.time_s + REST_SCAN_S)
        tangent, loss = self._tangent, self._loss(angle, self.time_s, end)

        now, then = tangent(angle(self.time_s)), tangent(angle(end))

        def crossing(level: float) -> float | None:
            """The first time in this stretch when the tangent is at the level."""
            if now >= level:
                return self.time_s
            if then < level:
                return None
            return _root(lambda t: tangent(angle(t)) - level, self.time_s, end)

        start = crossing(self._start_tangent(loss))
        for beam, need in self._slump_needs():
            time = crossing(self._slump_tangent(need))
            if time is not None and (start is None or time <= start):
                self._slumped[beam] = True
                edges.append(BagEdge(time, beam, True))
        if start is None:
            self.time_s = end
        elif self._may_creep:
            self.time_s = start
            self.is_sliding = self._is_creeping = True
        else:
            self._start(start, angle, loss)

    def _creep(self, until_s: float, angle: Angle, edges: list[BagEdge]) -> None:
        """A step of creep, v = v₀·exp((tan θ − µs)/c), and of the slump that goes with it."""
        path, t, tangent = self.path, self.time_s, self._tangent
        end = min(until_s, t + CREEP_STEP_S)
        loss = self._loss(angle, t, end)
        level = self._level(loss)
        now, then = tangent(angle(t)), tangent(angle(end))
        if then < now and then < self._start_tangent(loss):
            self.time_s, self.speed_m_s = end, 0.0
            self.is_sliding = self._is_creeping = False
            return
        starts = then >= level
        if starts:
            end = t if now >= level else _root(lambda x: tangent(angle(x)) - level, t, end)
        over = min(0.0, 0.5 * (now + min(then, level)) - level)
        speed = path.creep_mm_s / 1000.0 * exp(over / path.creep_tangent)
        start_m = self.travel_m

        def reach_mm(time_s: float) -> float:
            crept = 1000.0 * (start_m + speed * (time_s - t))
            return crept + self._slump_at(tangent(angle(time_s)))

        for place, beam, broken in self._targets:
            if broken and not self._slumped.get(beam) and reach_mm(end) >= place:
                self._slumped[beam] = True
                late = reach_mm(t) >= place
                time = t if late else _root(lambda x, p=place: reach_mm(x) - p, t, end)  # type: ignore[misc]
                edges.append(BagEdge(time, beam, True))
        self.time_s, self.speed_m_s = end, speed
        self.travel_m += speed * (end - t)
        if starts:
            self._is_creeping = False
            self.crept_m = self.travel_m
            self._start(end, angle, loss)

    def _slump_at(self, tangent: float) -> float:
        """How far (mm) the fill has slumped at a tangent before the slide."""
        part = tangent / (self.path.slump_done * self.law.mu_static)
        if part >= 1.0:
            return self.path.slump_mm
        return 0.0 if self.path.slump_is_sudden else self.path.slump_mm * part**3

    def _start(self, time_s: float, angle: Angle, loss: float) -> None:
        self.time_s, self.is_sliding = time_s, True
        tangent = self._tangent(angle(time_s))
        if not self._is_aimed:
            self._is_aimed = True
            yaw = self.path.yaw_rad
            self._cosine = self.incline.downhill_cosine(angle(time_s), yaw)
            self._aim()
        creep, self._bristle_m = self.law.at_rest(tangent)
        self._slip_from_m = self.travel_m
        self.travel_m += creep
        if not self.law.is_dynamic:
            self._note_onset(time_s, angle, loss)

    def _note_onset(self, time_s: float, angle: Angle, loss: float) -> None:
        if self.onset_time_s is None:
            self.onset_time_s, self.lost_share = time_s, loss
            bend = self.ground.bend_rad(self.travel_m)
            self.onset_deg = self.incline.total_deg(angle(time_s) + bend)

    def _aim(self) -> None:
        """Turn places on the board into travel (m) along the steepest descent, slump taken off."""
        self._targets = sorted(
            (self.path.travel_mm(place, broken) / 1000.0 / self._cosine, beam, broken)
            for place, beam, broken in self._targets
            if not (broken and self._slumped.get(beam))
        )

    def _slide(self, until_s: float, angle: Angle, edges: list[BagEdge]) -> None:
        law, spot, ground = self.law, self._spot, self.ground
        slip_from = self._slip_from_m
        t, s, v, z = self.time_s, self.travel_m, self.speed_m_s, self._bristle_m
        h = min(law.max_step_s(s - slip_from, v), until_s - t)
        has_spot = self.path.stall_at_mm is not None or bool(ground.spots)
        loss = self._loss(angle, t, t + h)
        kept = 1.0 - loss

        def sin_cos(time_s: float, s: float) -> tuple[float, float]:
            bend = 0.0 if ground.is_flat else ground.bend_rad(s)
            return self.incline.sin_cos(angle(time_s) + bend)

        def pull(sine: float, cosine: float, s: float, v: float, z: float) -> float:
            mu = kept * law.mu(s - slip_from, v, z)
            if has_spot:
                mu *= spot(s)
            return G0_M_S2 * (sine - mu * cosine)

        half = 0.5 * h
        rate = law.bristle_rate_m_s
        known_s, sc0 = self._known
        if known_s != t:
            sc0 = sin_cos(t, s)
        sc1, sc2 = sin_cos(t + half, s + half * v), sin_cos(t + h, s + h * v)
        self._known = (t + h, sc2)
        a1, z1 = pull(*sc0, s, v, z), rate(v, z)
        v2 = v + half * a1
        a2, z2 = pull(*sc1, s + half * v, v2, z + half * z1), rate(v2, z + half * z1)
        v3 = v + half * a2
        a3, z3 = pull(*sc1, s + half * v2, v3, z + half * z2), rate(v3, z + half * z2)
        v4 = v + h * a3
        a4, z4 = pull(*sc2, s + h * v3, v4, z + h * z3), rate(v4, z + h * z3)
        s_end = s + h / 6.0 * (v + 2.0 * v2 + 2.0 * v3 + v4)
        v_end = v + h / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4)
        if v_end <= 0.0 and not law.is_dynamic:
            self._stop(t, h, s, v, v_end, edges)
            return
        self._pass(t, h, (s, v), (s_end, v_end), edges)
        if law.is_dynamic and self.onset_time_s is None:
            level = self._level(loss)
            if sc2[0] >= level * sc2[1]:
                tangent = self._tangent
                at_s = t if tangent(angle(t)) >= level else None
                if at_s is None:
                    at_s = _root(lambda x: tangent(angle(x)) - level, t, t + h)
                self._note_onset(at_s, angle, loss)
        if not self.is_caught:
            self.time_s, self.travel_m, self.speed_m_s = t + h, s_end, v_end
            self._bristle_m = z + h / 6.0 * (z1 + 2.0 * z2 + 2.0 * z3 + z4)

    def _stop(
        self, t: float, h: float, s: float, v: float, v_end: float, edges: list[BagEdge]
    ) -> None:
        """The speed falls to zero inside this step: stay there until the board is steeper."""
        share = v / (v - v_end) if v > 0.0 else 1.0
        s_end = s + 0.5 * v * share * h if v > 0.0 else s
        self._pass(t, share * h, (s, v), (s_end, 0.0), edges)
        self.time_s, self.travel_m, self.speed_m_s = t + share * h, s_end, 0.0
        self.is_sliding = False

    def _pass(
        self,
        t: float,
        h: float,
        start: tuple[float, float],
        end: tuple[float, float],
        edges: list[BagEdge],
    ) -> None:
        """Find what the bag meets in one step, on the cubic through both ends and their slopes."""
        (s0, v0), (s1, v1) = start, end

        def when(place: float) -> float:
            if place <= s0:
                return t
            return _root(lambda x: _hermite((x - t) / h, h, s0, v0, s1, v1) - place, t, t + h)

        catch = self.path.catch_travel_mm / 1000.0 / self._cosine
        while self._targets and self._targets[0][0] <= min(s1, catch):
            place, beam, broken = self._targets.pop(0)
            edges.append(BagEdge(when(place), beam, broken))
        if s1 >= catch:
            self.time_s, self.travel_m, self.speed_m_s = when(catch), catch, 0.0
            self.is_sliding, self.is_caught = False, True


def _hermite(u: float, h: float, s0: float, v0: float, s1: float, v1: float) -> float:
    w = 1.0 - u
    return w * w * ((1.0 + 2.0 * u) * s0 + u * h * v0) + u * u * ((3.0 - 2.0 * u) * s1 - w * h * v1)


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that is negative at `low` reaches zero, by bisection and false position."""
    f_low, f_high = f(low), f(high)
    for turn in range(80):
        if high - low < 1e-12:
            break
        straight = f_high > f_low and turn % 3 != 2
        mid = low - f_low * (high - low) / (f_high - f_low) if straight else 0.5 * (low + high)
        if not low < mid < high:
            mid = 0.5 * (low + high)
        f_mid = f(mid)
        if f_mid >= 0.0:
            high, f_high = mid, f_mid
        else:
            low, f_low = mid, f_mid
        if f_mid == 0.0:
            break
    return high
