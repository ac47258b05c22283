"""Zero by a half turn."""

from math import radians, sin

import numpy as np
import pytest

from rig.errors import BadInputError
from rig.study.phone.trace import Laying, PhoneZero
from rig.study.phone.zero import level_of, resolution_of

G = 9.806


def laying(x: float, y: float, sd: float = 0.01, n: int = 180) -> Laying:
    return Laying(acceleration_m_s2=(x, y, (G**2 - x**2 - y**2) ** 0.5), sd_m_s2=sd, n=n)


def turned(along_deg: float, across_deg: float, bias: tuple[float, float]) -> PhoneZero:
    along, across = G * sin(radians(along_deg)), G * sin(radians(across_deg))
    return PhoneZero(
        first=laying(bias[0] + across, bias[1] + along),
        second=laying(bias[0] - across, bias[1] - along),
    )


def test_a_half_turn_tells_the_phones_offset_from_the_boards_tilt() -> None:
    level = level_of(turned(1.2, -0.7, (0.15, -0.20)))
    assert level.along_deg == pytest.approx(1.2, abs=0.01)
    assert level.across_deg == pytest.approx(-0.7, abs=0.01)
    assert level.normal[:2] * G == pytest.approx([0.15, -0.20], abs=0.01)


def test_the_uncertainty_covers_readings_that_are_rounded_coarsely() -> None:
    fine = level_of(turned(0.3, 0.0, (0.0, 0.0)))
    still = PhoneZero(first=laying(0.0, 0.1, sd=0.0), second=laying(0.0, 0.0, sd=0.0))
    coarse = level_of(still, resolution_m_s2=0.1)
    # Two rectangular errors of ±0.05 m/s², averaged.
    assert coarse.u_deg == pytest.approx(np.degrees(0.1 / 12**0.5 / 2**0.5 / G), rel=0.1)
    assert fine.u_deg < 0.06
    noisy = PhoneZero(first=laying(0.0, 0.1, sd=0.08), second=laying(0.0, 0.0, sd=0.08))
    assert level_of(noisy, resolution_m_s2=0.1).u_deg < 0.08, "noise dithers"


@pytest.mark.parametrize(
    ("zero", "words"),
    [
        (turned(7.0, 0.0, (0.0, 0.0)), "leans by 7.0"),
        (PhoneZero(first=laying(0, 0, sd=1.0), second=laying(0, 0)), "did not lie still"),
        (
            PhoneZero(
                first=Laying(acceleration_m_s2=(0, 0, 5.0), sd_m_s2=0.01, n=99),
                second=Laying(acceleration_m_s2=(0, 0, 5.0), sd_m_s2=0.01, n=99),
            ),
            "feels 5.0",
        ),
    ],
)
def test_a_zero_that_cannot_be_is_refused(zero: PhoneZero, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        level_of(zero)


def test_the_step_of_rounded_readings_is_seen() -> None:
    random = np.random.default_rng(1)
    values = random.normal(3.0, 0.5, 300)
    assert resolution_of(np.round(values, 1)) == pytest.approx(0.1)
    assert resolution_of(np.round(values, 4)) == 0.0
    assert resolution_of([9.8] * 50) == 0.1
