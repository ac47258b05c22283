"""From a lift to a slide angle: the tap's delay is taken off, and every layer is stated."""

from math import hypot, sqrt
from typing import NamedTuple

import numpy as np

from rig.study.folder.journal import ByPhone
from rig.study.phone.lift import BEFORE_S
from rig.study.phone.taps import RATE_EFFECT_S, Reaction


class Layers(NamedTuple):
    """Standard uncertainties of a slide angle, in degrees."""

    sensor: float
    """Scale and offset of the chip, common to the phone, and the lift's own fit."""
    zero: float
    """Common to the lifts after one zeroing."""
    tap: float
    """Delay of the reader, common to all of theirs, and its scatter from tap to tap."""
    rate: float
    """Raised at another rate than the one asked for."""

    @property
    def u_deg(self) -> float:
        """Of the angle."""
        return sqrt(sum(one**2 for one in self))


class PhoneSlide(NamedTuple):
    """One slide."""

    angle_deg: float
    layers: Layers
    u_random_deg: float
    """Of that what differs from lift to lift; it alone counts between lifts at one pace."""


def slide_of(phone: ByPhone, reaction: Reaction) -> PhoneSlide:
    """The slide angle of a lift by a reader with this reaction."""
    before = np.array(phone.before_tap_deg)
    weights = np.exp(-0.5 * ((BEFORE_S - reaction.delay_s) / reaction.scatter_s) ** 2)
    weights /= weights.sum()
    angle = float(weights @ before)
    scatter = sqrt(float(weights @ (before - angle) ** 2))
    centred = BEFORE_S - float(weights @ BEFORE_S)
    rate = -float(weights @ (centred * before)) / float(weights @ centred**2)
    delay = abs(rate) * reaction.u_delay_s
    off = abs(rate - phone.pace_deg_s) * RATE_EFFECT_S
    layers = Layers(
        sensor=hypot(phone.u_sensor_deg, phone.u_fit_deg),
        zero=phone.u_zero_deg,
        tap=hypot(scatter, delay),
        rate=off,
    )
    random = sqrt(scatter**2 + phone.u_fit_deg**2 + off**2)
    return PhoneSlide(angle, layers, random)
