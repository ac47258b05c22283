"""A person's hand that raises the board: pace, ripple of the crank, tremor, pauses and jerks.

The whole raise is drawn at its start on a fine grid of time, so that it can be asked for at any
time in between, by the chips and by the bag alike. The hand moves the board through a crank or a
lever; see `HandTruth` for the sizes and where they are from.
"""

from math import degrees, pi, radians, sqrt

import numpy as np

from rig.twin.mechanics import G0_M_S2
from rig.twin.scenario import HandTruth
from rig.twin.sensor import Array, Motion

STEP_S = 0.002
START_S = 0.6
"""The hand needs this long to come to its pace, and to stop."""
LOWERING_DEG_S = 3.0
TREMOR_LINES = 7
MOST_TURNS_PER_S = 2.0
"""Nobody cranks evenly any faster (judged): a higher pace takes a coarser gear."""


class HandPath:
    """How the cradle turns in one raise and back; at rest before and after.

    Args:
        rest_rad: cradle angle at rest.
    """

    def __init__(self, rest_rad: float) -> None:
        self._rest_rad = rest_rad
        self._start_s = 0.0
        self._angle = np.array([rest_rad, rest_rad])
        self._rate = self._acceleration = np.zeros(2)
        self.is_lifted = False
        """It was raised and not yet let down."""

    @property
    def start_s(self) -> float:
        """When the latest raise began."""
        return self._start_s

    def begin(
        self,
        start_s: float,
        rate_deg_s: float,
        top_deg: float,
        hand: HandTruth,
        random: np.random.Generator,
    ) -> None:
        """Draw a raise: from rest to the highest angle, unless `lower` ends it earlier."""
        self._start_s = start_s
        self.is_lifted = True
        top = radians(top_deg)
        seconds = 2.0 * (top_deg - degrees(self._rest_rad)) / rate_deg_s + 8.0
        pace = _pace(rate_deg_s, int(seconds / STEP_S), hand, random)
        travel = np.cumsum(pace) * STEP_S
        jerk_at = hand.jerk_at_deg
        if jerk_at is not None:
            first = int(np.searchsorted(travel, jerk_at - degrees(self._rest_rad)))
            _add_bump(pace, first, hand.jerk_deg_s, hand.jerk_length_s)
        rate = np.radians(pace)
        if hand.tremor_g:
            rate = rate + _tremor_rad_s(rate.size, hand, random) * _ramp(rate.size, START_S)
        angle = self._rest_rad + np.concatenate(([0.0], np.cumsum(rate)[:-1])) * STEP_S
        ends = np.flatnonzero(angle >= top)
        if ends.size:
            angle, rate = angle[: ends[0] + 1], rate[: ends[0] + 1]
        self._set(angle, rate)
        if ends.size:
            self._halt(angle.size - 1)

    def lower(self, at_s: float) -> None:
        """Stop and let the board down, from this time on."""
        self.is_lifted = False
        at = min(max(int((at_s - self._start_s) / STEP_S), 1), self._angle.size - 1)
        self._halt(at)
        stopped = self._angle.size
        way = float(self._angle[-1]) - self._rest_rad
        n = max(int(degrees(way) / LOWERING_DEG_S / STEP_S), 2)
        turn = np.arange(1, n + 1) / n
        shape = turn - np.sin(2.0 * pi * turn) / (2.0 * pi)
        down = self._angle[-1] - way * shape
        pause = np.full(int(0.5 / STEP_S), self._angle[-1])
        angle = np.concatenate((self._angle, pause, down))
        rate = np.gradient(angle, STEP_S)
        rate[:stopped] = self._rate
        self._set(angle, rate)

    def _halt(self, at: int) -> None:
        """Come to rest from a place on the grid."""
        n = int(START_S / STEP_S)
        fall = self._rate[at] * 0.5 * (1.0 + np.cos(pi * np.arange(1, n + 1) / n))
        rate = np.concatenate((self._rate[: at + 1], fall, [0.0]))
        more = self._angle[at] + np.cumsum(fall) * STEP_S
        self._set(np.concatenate((self._angle[: at + 1], more, more[-1:])), rate)

    def _set(self, angle: Array, rate: Array) -> None:
        self._angle, self._rate = angle, rate
        self._acceleration = np.gradient(rate, STEP_S)

    def is_at_rest(self, now_s: float) -> bool:
        """Whether nothing moves any more, or yet."""
        return (now_s - self._start_s) / STEP_S >= self._angle.size - 1

    def angle_rad(self, time_s: float) -> float:
        """Cradle angle at a time."""
        return self._at(self._angle, time_s)

    def felt_rad(self, time_s: float, radius_m: float) -> float:
        """The angle that a body at rest on the board feels, this far from the hinge.

        The board's acceleration α presses with r·α more (or less) on the body, so the tangent of
        what it feels is g·sin θ / (g·cos θ + r·α), and less r·ω² along the board.
        """
        angle, alpha = self._at(self._angle, time_s), self._at(self._acceleration, time_s)
        rate = self._at(self._rate, time_s)
        pull = G0_M_S2 * np.sin(angle) - radius_m * rate * rate
        return float(np.arctan2(pull, G0_M_S2 * np.cos(angle) + radius_m * alpha))

    def _at(self, values: Array, time_s: float) -> float:
        place = (time_s - self._start_s) / STEP_S
        if place <= 0.0:
            return float(values[0])
        i = int(place)
        if i >= values.size - 1:
            return float(values[-1])
        return float(values[i] + (place - i) * (values[i + 1] - values[i]))

    def motion(self, times_s: Array) -> Motion:
        """The cradle's motion at some times."""
        grid = self._start_s + np.arange(self._angle.size) * STEP_S
        angle, rate, acceleration = (
            np.interp(times_s, grid, values)
            for values in (self._angle, self._rate, self._acceleration)
        )
        zero = np.zeros(times_s.size)
        return Motion(angle, rate, acceleration, zero, zero)


def _pace(rate_deg_s: float, n: int, hand: HandTruth, random: np.random.Generator) -> Array:
    """Pace in °/s at each step of the grid."""
    keep = STEP_S / hand.pace_memory_s
    smooth = np.empty(n)
    x = y = float(random.normal())
    kicks = (random.standard_normal(n) * sqrt(2.0 * keep)).tolist()
    for i, kick in enumerate(kicks):
        x += kick - keep * x
        y += (x - y) * STEP_S / 0.25  # no hand changes its pace at once
        smooth[i] = y
    pace = rate_deg_s * (1.0 - hand.slowness) * np.exp(hand.pace_sd * smooth)
    for start in _times(hand.pauses_per_s, n, random):
        length = int(random.exponential(hand.pause_s) / STEP_S) + int(0.2 / STEP_S)
        pace *= 1.0 - _hollow(n, start, length)
    turn_deg = max(hand.turn_deg, rate_deg_s / MOST_TURNS_PER_S)
    turn = 2.0 * pi * (random.random() + np.cumsum(pace) * STEP_S / turn_deg)
    phase = 2.0 * pi * float(random.random())
    pace = pace * (1.0 + hand.ripple * (np.sin(turn) + 0.5 * np.sin(2.0 * turn + phase)))
    pace *= _ramp(n, START_S)
    for start in _times(hand.jerks_per_s, n, random):
        _add_bump(
            pace, start, hand.jerk_deg_s * float(random.uniform(0.5, 1.5)), hand.jerk_length_s
        )
    return pace


def _times(per_s: float, n: int, random: np.random.Generator) -> list[int]:
    """Places on the grid where something happens by chance, none in the first two seconds."""
    first = int(2.0 / STEP_S)
    found = np.flatnonzero(random.random(n) < per_s * STEP_S)
    return [int(i) for i in found if i >= first]


def _hollow(n: int, start: int, length: int) -> Array:
    """1 in a pause, 0 elsewhere, with edges of 0.15 s."""
    edge = 0.15 / STEP_S
    place = np.arange(n)
    low = np.clip((place - start) / edge, 0.0, 1.0)
    high = np.clip((start + length - place) / edge, 0.0, 1.0)
    both = np.minimum(low, high)
    return np.asarray(both * both * (3.0 - 2.0 * both))


def _add_bump(pace: Array, start: int, height_deg_s: float, length_s: float) -> None:
    n = min(int(length_s / STEP_S), pace.size - start)
    if n > 0:
        pace[start : start + n] += height_deg_s * np.sin(pi * np.arange(n) / n) ** 2


def _tremor_rad_s(n: int, hand: HandTruth, random: np.random.Generator) -> Array:
    """Turning rate by the tremor: lines within its band, as large together as one of its size."""
    time_s = np.arange(n) * STEP_S
    edge = hand.tremor_g * G0_M_S2 * hand.reduction / (hand.edge_mm / 1000.0)
    total = np.zeros(n)
    for _ in range(TREMOR_LINES):
        hz = hand.tremor_hz + hand.tremor_band_hz * float(random.uniform(-0.5, 0.5))
        phase = 2.0 * pi * float(random.random())
        total += np.sin(2.0 * pi * hz * time_s + phase) / (2.0 * pi * hz)
    return np.asarray(edge / sqrt(TREMOR_LINES) * total)


def _ramp(n: int, seconds: float) -> Array:
    """From 0 to 1 within some seconds, without a corner."""
    place = np.clip(np.arange(n) * STEP_S / seconds, 0.0, 1.0)
    return np.asarray(place * place * (3.0 - 2.0 * place))
