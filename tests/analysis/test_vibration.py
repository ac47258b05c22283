"""The motor's lines in the fit, worked out a second time, and the limits of the advice."""

import math

import numpy as np
import pytest

from rig.analysis.angle import vibration
from rig.analysis.angle.vibration import Worst, advice, fit_weights, leak, worst_bias
from rig.calibration.model import Vibration
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings

SETTINGS = Settings()
LINKAGE = Kinematics(SETTINGS.linkage, SETTINGS.screw)


def seen(first_g: float | None, second_g: float | None = None) -> Vibration:
    """Lines of a sweep with 400 pulses/s."""
    return Vibration(
        sample_rate_hz=208.0,
        lowpass_hz=20.8,
        frequency_hz=(0.0, 3.25),
        amplitude_g=(0.0, 0.0),
        pulse_hz=(400.0, 800.0),
        folded_hz=(16.0, 32.0),
        line_g=(first_g, second_g),
    )


def test_the_weights_are_those_of_the_fit_at_the_break() -> None:
    t_s, weight = fit_weights(208.0)
    # 6 s are 59 blocks of 21 samples, the last one just before the break.
    assert len(t_s) == 1239
    assert t_s[-1] == pytest.approx(-1.0 / 208.0)
    value = np.sin(t_s)
    blocks = t_s.reshape(59, 21).mean(axis=1)
    # A weight that falls by 1/e in 3 s: its root falls so in 6 s.
    _, offset = np.polyfit(blocks, value.reshape(59, 21).mean(axis=1), 1, w=np.exp(blocks / 6.0))
    assert weight @ value == pytest.approx(offset, rel=1e-9)


@pytest.mark.parametrize("harmonic", [1, 2])
@pytest.mark.parametrize("onset_deg", [3.0, 20.0])
def test_what_of_a_line_stays(harmonic: int, onset_deg: float) -> None:
    t_s, weight = fit_weights(208.0)
    angle = onset_deg + 1.0 * t_s
    # The screw's length by the law of cosines, 100 pulses/mm; before the raise nothing turns.
    screw_mm = np.sqrt(900.0**2 + 450.0**2 - 810000.0 * np.cos(np.radians(angle + 20.0)))
    turns = 2.0 * math.pi * harmonic * 100.0 * screw_mm
    line = np.where(angle > 0.0, weight, 0.0)
    share = math.hypot(line @ np.cos(turns), line @ np.sin(turns))
    assert leak(LINKAGE, 1.0, onset_deg, harmonic, 208.0) == pytest.approx(share, rel=1e-6)


@pytest.mark.parametrize(
    ("lines", "harmonic", "bias_deg"),
    [
        # Slowest at 8°: 405000·sin 28°/√(1012500 − 810000·cos 28°) is 348.705 mm per radian, at
        # 0.5 °/s and 100 pulses/mm 304.302 Hz. A line grows as 1/f²: (400/304.302)² = 1.727865;
        # 0.003 g of it at a share of a quarter are 0.0742495°.
        (seen(0.003), 1, 0.0742495),
        (seen(None, 0.003), 2, 0.0742495),
        (seen(0.003, 0.006), 2, 0.1484990),
        (seen(0.006, 0.003), 1, 0.1484990),
    ],
)
def test_the_worst_bias(
    monkeypatch: pytest.MonkeyPatch, lines: Vibration, harmonic: int, bias_deg: float
) -> None:
    monkeypatch.setattr(vibration, "leak", lambda *_: 0.25)
    worst = worst_bias(lines, SETTINGS, 0.5, 208.0)
    assert worst.onset_deg == pytest.approx(8.0)
    assert worst.harmonic == harmonic
    assert worst.pulse_hz == pytest.approx(304.302, rel=1e-5)
    assert worst.bias_deg == pytest.approx(bias_deg, rel=1e-5)


@pytest.mark.parametrize(
    ("bias_deg", "says"),
    [
        (0.0, "No line of the motor stands out"),
        (0.0099, "That is within 0.01°"),
        (0.0101, "Set `imu.lowpass_hz = 20.7` or less"),
        # A corner of 5 Hz: 0.01·(20.8/5)² = 0.173056.
        (0.1725, "Set `imu.lowpass_hz = 5.0` or less"),
        (0.1736, "set `imu.lowpass_hz = 5` and `imu.rate_hz = 416`"),
    ],
)
def test_limits_of_the_advice(monkeypatch: pytest.MonkeyPatch, bias_deg: float, says: str) -> None:
    # Sampling quicker leaves less.
    monkeypatch.setattr(
        vibration,
        "worst_bias",
        lambda _lines, _settings, _rate, sample_hz: Worst(
            bias_deg * 208.0 / sample_hz, 20.0, 1, 390.0
        ),
    )
    assert says in advice(seen(0.003), SETTINGS)[-1]
