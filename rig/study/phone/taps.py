"""How late a reader taps, and how evenly: learned from repeats and from slides beside a rig.

A lift's angle at the tap is y = a + (δ + λ)·v + e: a is the slide angle of that bag face at the
rate v of the lift, δ the reader's delay, λ what friction itself changes with the rate, and e the
scatter τ of slides and σ·v of taps. Beside a rig a is known (up to the phone's own offset);
from repeats at several rates δ + λ and σ show. All that is linear is integrated exactly; σ and τ
lie on a grid.
"""

from collections.abc import Sequence
from math import log, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]


class Reaction(NamedTuple):
    """A reader's delay from the slide to the tap."""

    delay_s: float
    u_delay_s: float
    scatter_s: float
    """Standard deviation from tap to tap."""
    n: int = 0
    """Lifts that it was learned from."""


PRIOR = Reaction(delay_s=0.25, u_delay_s=0.05, scatter_s=0.06)
"""Simple reactions to something seen take 0.231 s on average, 1469 persons of 18 to 65 years
(Woods et al., Front. Hum. Neurosci. 9:131, 2015); a finger that waits over a screen and a bag that
creeps off add a little. Spread between persons and from tap to tap: judged, about a quarter."""
SCATTER_SPREAD = 0.4
"""Of log σ."""
SLIDES_DEG, SLIDES_SPREAD = 0.25, 0.7
"""Median and spread of τ: what slides of one bag face differ by."""
RATE_EFFECT_S = 0.15
"""Standard deviation of λ: friction near rest makes 0.1 to 0.3° between 0.3 and 1 °/s."""
OFFSET_DEG = 0.25
"""Phone against rig: scale, offset and zero."""
FREE_DEG = 100.0
MOST = 60
"""The newest lifts of a reader that are looked at."""


class Tapped(NamedTuple):
    """One lift."""

    group: tuple[str, ...]
    """Equal for lifts of one bag face on one board in one session and stage."""
    at_tap_deg: float
    rate_deg_s: float
    u_fit_deg: float


class Beside(NamedTuple):
    """What a rig measured of a group."""

    angle_deg: float
    u_deg: float
    rate_deg_s: float


def reaction_of(lifts: Sequence[Tapped], rig: dict[tuple[str, ...], Beside]) -> Reaction:
    """The reaction of one reader.

    Args:
        lifts: all of that reader's, in order of time.
        rig: slides of a rig, for groups where there are any.
    """
    lifts = lifts[-MOST:]
    counts: dict[tuple[str, ...], int] = {}
    for one in lifts:
        counts[one.group] = counts.get(one.group, 0) + 1
    useful = [one for one in lifts if one.group in rig or counts[one.group] > 1]
    if not useful:
        return PRIOR
    y, known, plain = _system(useful, rig)
    rates = np.array([one.rate_deg_s for one in useful])
    fits = np.array([one.u_fit_deg for one in useful])
    z = np.linspace(-2.5, 2.5, 9)
    found = []
    for at_sigma in z:
        sigma = PRIOR.scatter_s * float(np.exp(SCATTER_SPREAD * at_sigma))
        for at_tau in z:
            tau = SLIDES_DEG * float(np.exp(SLIDES_SPREAD * at_tau))
            noise = tau**2 + (sigma * rates) ** 2 + fits**2
            weight, mean, variance = _point(y, known + np.diag(noise), plain)
            found.append((weight - 0.5 * (at_sigma**2 + at_tau**2), mean, variance, sigma**2))
    table = np.array(found)
    weights = np.exp(table[:, 0] - table[:, 0].max())
    weights /= weights.sum()
    mean = float(weights @ table[:, 1])
    variance = float(weights @ (table[:, 2] + (table[:, 1] - mean) ** 2))
    return Reaction(mean, sqrt(variance), sqrt(float(weights @ table[:, 3])), len(useful))


def _system(lifts: Sequence[Tapped], rig: dict[tuple[str, ...], Beside]) -> tuple[F, F, F]:
    """Angles less their means, their covariance without noise, and that with the delay."""
    groups = sorted({one.group for one in lifts})
    rates = np.array([one.rate_deg_s for one in lifts])
    is_of = np.array([[float(one.group == group) for group in groups] for one in lifts])
    beside = [rig.get(group) for group in groups]
    centre = np.array([0.0 if one is None else one.angle_deg for one in beside])
    spread = np.array([FREE_DEG if one is None else one.u_deg for one in beside])
    has_rig = is_of @ np.array([float(one is not None) for one in beside])
    against = is_of @ np.array([0.0 if one is None else one.rate_deg_s for one in beside])
    start = np.array([one.at_tap_deg for one in lifts])
    # Without a rig the group's own mean is taken off first, which keeps the numbers small.
    free = np.array([start[is_of[:, g] > 0].mean() for g in range(len(groups))])
    centre = np.where([one is None for one in beside], free, centre)
    law = rates - against
    known = (is_of * spread**2) @ is_of.T
    known += RATE_EFFECT_S**2 * np.outer(law, law) + OFFSET_DEG**2 * np.outer(has_rig, has_rig)
    known += PRIOR.u_delay_s**2 * np.outer(rates, rates)
    y = start - is_of @ centre - PRIOR.delay_s * rates
    return y, known, PRIOR.u_delay_s**2 * rates


def _point(y: F, covariance: F, with_delay: F) -> tuple[float, float, float]:
    """Log density of the angles; mean and variance of the delay."""
    factor = np.linalg.cholesky(covariance)
    half = np.linalg.solve(factor, np.column_stack([y, with_delay]))
    density = -0.5 * float(half[:, 0] @ half[:, 0]) - sum(map(log, np.diagonal(factor)))
    mean = PRIOR.delay_s + float(half[:, 1] @ half[:, 0])
    return density, mean, PRIOR.u_delay_s**2 - float(half[:, 1] @ half[:, 1])
