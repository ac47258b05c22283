"""Many slides at once under five friction laws, by Runge and Kutta's method in time.

Shares no code with the analysis and none with the twin: friction is written down once more, in m
and s, and edges are found on the cubic between two steps. What is wider than the twin's draws:
weakening over 0.05 to 5 mm, Stribeck speeds of 1 to 100 mm/s, bristles of 300 to 4,000 per metre.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Law = Literal["coulomb", "slip weakening", "stribeck", "lugre"]
LAWS: tuple[Law, ...] = ("coulomb", "slip weakening", "stribeck", "lugre")

G = 9.80665
LONGEST_S, STEP_S = 8.0, 1e-3


@dataclass(frozen=True)
class Friction:
    """Friction of n slides; coefficients without unit, lengths in m, speeds in m/s."""

    law: Law
    mu_static: Array
    mu_kinetic: Array
    weakening_m: Array
    stribeck_m_s: Array
    bristles_1_m: Array
    damping_ratio: Array

    def of(self, index: NDArray[np.intp]) -> "Friction":
        """Some of them."""
        parts = {
            key: getattr(self, key)[index] for key in self.__dataclass_fields__ if key != "law"
        }
        return Friction(self.law, **parts)

    def level(self, slip_m: Array, speed_m_s: Array) -> Array:
        """The coefficient in sliding, for a law without bristles; their steady level with them."""
        fall = self.mu_static - self.mu_kinetic
        if self.law == "coulomb":
            return self.mu_kinetic
        if self.law == "slip weakening":
            return self.mu_kinetic + fall * np.exp(-np.maximum(slip_m, 0.0) / self.weakening_m)
        return self.mu_kinetic + fall * np.exp(-((speed_m_s / self.stribeck_m_s) ** 2))


def drawn(law: Law, n: int, rng: np.random.Generator) -> Friction:
    """µs 0.2 to 0.7, µs − µk 0 to 0.15, a tenth of them exactly 0."""
    static = rng.uniform(0.2, 0.7, n)
    fall = rng.uniform(0.0, 0.15, n) * (rng.random(n) >= 0.1)

    def even(low: float, high: float) -> Array:
        return np.exp(rng.uniform(np.log(low), np.log(high), n))

    return Friction(
        law,
        static,
        static - fall,
        even(5e-5, 5e-3),
        even(1e-3, 0.1),
        even(300.0, 4000.0),
        even(0.05, 0.5),
    )


@dataclass(frozen=True)
class Slides:
    """When n bags passed some places; times in s from the moment of tan θ = µs."""

    onset_deg: Array
    times_s: Array
    """Shape (n, places); NaN where the bag never came."""
    speed_m_s: Array
    """At the last place."""


def slides(friction: Friction, rate_deg_s: float, places_m: Array) -> Slides:
    """Integrate from rest; `places_m` has the shape (n, places), each row rising."""
    n = len(friction.mu_static)
    turn = np.radians(rate_deg_s)
    onset = np.arctan(friction.mu_static)
    bristle = friction.law == "lugre"
    start = np.arctan(0.97 * friction.mu_static) if bristle else onset
    from_s = (start - onset) / turn
    stiff = friction.bristles_1_m
    share = np.tan(start) / friction.mu_static
    s = -friction.mu_static / stiff * np.log(1.0 - share) if bristle else np.zeros(n)
    z = np.tan(start) / stiff if bristle else np.zeros(n)
    damping = 2.0 * friction.damping_ratio * np.sqrt(stiff / G)
    v, t = np.zeros(n), from_s.copy()
    found = np.full(places_m.shape, np.nan)
    last_speed = np.full(n, np.nan)

    def motion(t: Array, s: Array, v: Array, z: Array) -> tuple[Array, Array]:
        angle = onset + turn * t
        level = friction.level(s, v)
        if not bristle:
            return G * (np.sin(angle) - level * np.cos(angle)), np.zeros(n)
        slip = v - stiff * np.abs(v) / level * z
        mu = stiff * z + damping * np.exp(-((v / 0.01) ** 2)) * slip
        return G * (np.sin(angle) - mu * np.cos(angle)), slip

    while bool(np.isnan(found).any()) and bool(np.nanmin(t) < LONGEST_S):
        h = STEP_S
        if bristle:
            open_ = np.isnan(found).any(axis=1)
            h = min(
                h, 1.5 / max(float((stiff * np.abs(v) / friction.mu_kinetic)[open_].max()), 1e-9)
            )
        a1, z1 = motion(t, s, v, z)
        a2, z2 = motion(t + h / 2, s + h / 2 * v, v + h / 2 * a1, z + h / 2 * z1)
        v2 = v + h / 2 * a1
        a3, z3 = motion(t + h / 2, s + h / 2 * v2, v + h / 2 * a2, z + h / 2 * z2)
        v3 = v + h / 2 * a2
        a4, z4 = motion(t + h, s + h * v3, v + h * a3, z + h * z3)
        s_end = s + h / 6 * (v + 2 * v2 + 2 * v3 + v + h * a3)
        v_end = v + h / 6 * (a1 + 2 * a2 + 2 * a3 + a4)
        if not bristle:
            # Friction holds a bag that would run uphill.
            stuck = v_end < 0.0
            s_end, v_end = np.where(stuck, s, s_end), np.where(stuck, 0.0, v_end)
        for k in range(places_m.shape[1]):
            place = places_m[:, k]
            met = np.isnan(found[:, k]) & (s_end >= place)
            if met.any():
                found[met, k] = t[met] + h * _crossing(
                    s[met], v[met] * h, s_end[met], v_end[met] * h, place[met]
                )
                if k == places_m.shape[1] - 1:
                    last_speed[met] = v_end[met]
        z = z + h / 6 * (z1 + 2 * z2 + 2 * z3 + z4)
        # The bag is caught behind the last place, where it would only make the steps short.
        caught = ~np.isnan(found).any(axis=1)
        s, v, t = s_end, np.where(caught, 0.0, v_end), t + h
        z = np.where(caught, friction.mu_static / stiff, z)
    return Slides(np.degrees(onset), found, last_speed)


def _crossing(s0: Array, v0: Array, s1: Array, v1: Array, place: Array) -> Array:
    """Where in a step the cubic through both ends and their slopes meets a place, 0 to 1."""
    low, high = np.zeros_like(s0), np.ones_like(s0)
    for _ in range(40):
        u = (low + high) / 2.0
        w = 1.0 - u
        value = w * w * ((1 + 2 * u) * s0 + u * v0) + u * u * ((3 - 2 * u) * s1 - w * v1)
        before = value < place
        low, high = np.where(before, u, low), np.where(before, high, u)
    return (low + high) / 2.0
