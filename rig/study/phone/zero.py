"""Which way the board's normal points in the phone, from two layings half a turn apart.

The half turn about the board's normal changes the sign of what the level board's own tilt adds,
along and across, and leaves what the phone adds: the offset of its chip and the tilt of its back.
So the mean of both is the phone's own "level", and half the difference is the board's tilt.
"""

from collections.abc import Iterable
from math import asin, degrees, exp, hypot, pi, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInputError
from rig.study.phone.trace import Laying, PhoneZero

F = NDArray[np.float64]

GRAVITY_M_S2 = 9.806
"""At sea level it is 9.780 at the equator and 9.832 at the poles (normal gravity, WGS 84)."""
LEVEL_DEG = 5.0
"""Farther from level the board has not been levelled, or the phone was not turned on it."""
RESTLESS_M_S2 = 0.3
"""Scatter of readings above which the phone did not lie still."""
PLACING_DEG = 0.05
"""A board is not flat, and dust lies under a phone; judged."""
SINES = range(1, 200)
SLOW = 5.0
"""Noise of neighbouring readings is filtered, so this many of them say as much as one; judged."""


class Level(NamedTuple):
    """What a zeroing gives."""

    normal: F
    """Unit vector of the board's normal, the chip's offset in it."""
    along_deg: float
    """Tilt of the board along the phone's long side, in the first laying."""
    across_deg: float
    u_deg: float


def level_of(zero: PhoneZero, resolution_m_s2: float = 0.0) -> Level:
    """The phone's own level.

    Args:
        zero: both layings.
        resolution_m_s2: step in which the browser gives accelerations, 0 where none is seen.

    Raises:
        BadInputError: the phone did not lie still, or not on a level board.
    """
    first, second = (_mean(one) for one in (zero.first, zero.second))
    if max(zero.first.sd_m_s2, zero.second.sd_m_s2) > RESTLESS_M_S2:
        raise BadInputError("The phone did not lie still while it was zeroed; zero it again.")
    tilt = (first - second) / 2.0 / GRAVITY_M_S2
    along, across = (degrees(asin(min(max(one, -1.0), 1.0))) for one in (tilt[1], tilt[0]))
    if hypot(along, across) > LEVEL_DEG:
        raise BadInputError(
            f"The board leans by {hypot(along, across):.1f}° where the phone was zeroed; level it"
            f" to {LEVEL_DEG:g}° or better and zero again."
        )
    whole = (first + second) / 2.0
    length = float(np.linalg.norm(whole))
    if not 0.8 < length / GRAVITY_M_S2 < 1.2:
        raise BadInputError(
            f"At rest the phone feels {length:.1f} m/s² instead of 9.8; its sensor cannot be used."
        )
    each = [_u_m_s2(one, resolution_m_s2) for one in (zero.first, zero.second)]
    u_deg = degrees(hypot(*each) / 2.0 / GRAVITY_M_S2)
    return Level(whole / length, along, across, hypot(u_deg, PLACING_DEG))


def _mean(laying: Laying) -> F:
    return np.array(laying.acceleration_m_s2)


def _u_m_s2(laying: Laying, step: float) -> float:
    """Of a mean of rounded readings: noise dithers, a still phone shows the same step for ever.

    The error that rounding leaves in the mean is a sum of sines of the true value over the step;
    normal noise of standard deviation s leaves exp(−2π²k²s²/step²) of the k-th, whose amplitude is
    step/(πk) (Widrow, IRE Trans. Circuit Theory 3, 266, 1956). Without noise they add up to
    step²/12.
    """
    noise = laying.sd_m_s2 / sqrt(laying.n / SLOW)
    if step <= 0.0:
        return noise
    own = sqrt(max(laying.sd_m_s2**2 - step**2 / 12.0, 0.0))
    each = ((step / (pi * k)) ** 2 / 2.0 * exp(-((2.0 * pi * k * own / step) ** 2)) for k in SINES)
    return hypot(noise, sqrt(sum(each)))


def resolution_of(values: Iterable[float]) -> float:
    """The step in which readings come; 0 where it is too fine to matter."""
    distinct = np.unique(np.round(np.asarray(list(values)), 5))
    if len(distinct) < 2:
        return (
            0.1 if len(distinct) and abs(distinct[0] * 10 - round(distinct[0] * 10)) < 1e-4 else 0.0
        )
    step = float(np.diff(distinct).min())
    return step if step >= 0.01 else 0.0
