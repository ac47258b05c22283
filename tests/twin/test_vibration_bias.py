"""Lines of the stepper at any frequency, folded ones too, leave the angle where it is.

Each run is made twice, with and without vibration and otherwise with the same draws, so that the
difference of the two angles is the vibration's alone.
"""

import math

import msgspec
import numpy as np
import pytest

from rig.analysis.angle.vibration import advice, fit_weights, leak, worst_bias
from rig.analysis.friction import analyse_run
from rig.calibration.axis import aliased_hz
from rig.calibration.model import Vibration
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from tests.bench.coverage import in_memory
from tests.fastsim.run import simulate_run
from tests.teeth import without

SETTINGS = Settings()
LINKAGE = Kinematics(SETTINGS.linkage, SETTINGS.screw)
MU = 0.4
ONSET_DEG = math.degrees(math.atan(MU))
SAMPLE_HZ, CORNER_HZ, SHAKE_G = 208.3, 20.8, 0.05
PER_RATE_HZ = float(LINKAGE.pulse_rate_hz(ONSET_DEG, 1.0))


def seen_g(pulse_hz: float, harmonic: int) -> float:
    """Amplitude behind the chip's filter: its Butterworth response, half of it at the double."""
    response = 1.0 / math.sqrt(1.0 + (harmonic * pulse_hz / CORNER_HZ) ** 4)
    return SHAKE_G * response / harmonic


def bias_deg(rate: float, seed: int) -> float:
    angles = []
    for shake in (SHAKE_G, 0.0):
        scenario = changed(
            without(draw_scenario(seed, face=plain_face(MU, MU - 0.05))), imu={"vibration_g": shake}
        )
        lines, _ = simulate_run(SETTINGS, scenario, seed, rate_deg_s=rate, dwell_s=2.0)
        angle = analyse_run(in_memory(lines)).result.onset_angle_deg
        assert angle is not None
        angles.append(angle)
    return angles[0] - angles[1]


def bound_deg(rate: float) -> float:
    """Both lines at their worst phase, normal to the board and half along it, in a slide near."""
    total = 0.0
    for harmonic in (1, 2):
        amplitude = math.hypot(1.0, 0.5) * seen_g(rate * PER_RATE_HZ, harmonic)
        near = np.arange(ONSET_DEG - 1.5, ONSET_DEG + 1.5, 0.05)
        share = max(leak(LINKAGE, rate, onset, harmonic, SAMPLE_HZ) for onset in near.tolist())
        total += math.degrees(amplitude) * share
    return total


# Rates at which pulses or their double fold to 0 in the fit's window, and some between.
FOLD = [SAMPLE_HZ * k / harmonic / PER_RATE_HZ for harmonic in (1, 2) for k in (1, 2, 3, 5)]
BETWEEN = [0.13, 0.31, 0.45, 0.77, 1.0, 1.9]


@pytest.mark.parametrize("rate", sorted({round(rate, 5) for rate in [*FOLD, *BETWEEN]}))
def test_no_line_moves_the_angle_by_more_than_its_bound(rate: float) -> None:
    found = max(abs(bias_deg(rate, seed)) for seed in (1, 2))
    # Rounding to counts differs in the two runs: a few ten-thousandths of a degree.
    assert found < bound_deg(rate) + 5e-4
    assert bound_deg(rate) < 0.06
    if rate > 0.5:
        assert found < 0.003


def test_the_weights_are_those_of_a_fit_that_keeps_a_line() -> None:
    t_s, weight = fit_weights(208.0)
    assert weight.sum() == pytest.approx(1.0)
    assert weight @ t_s == pytest.approx(0.0, abs=0.01)


def test_a_line_that_folds_to_zero_leaks_and_one_that_does_not_is_gone() -> None:
    at = SAMPLE_HZ / PER_RATE_HZ
    assert aliased_hz(at * PER_RATE_HZ, SAMPLE_HZ) < 0.1
    # The pulse rate drifts through the sample rate, so not even there does all of it stay.
    assert 0.05 < leak(LINKAGE, at, ONSET_DEG, 1, SAMPLE_HZ) < 0.9
    assert leak(LINKAGE, 1.25 * at, ONSET_DEG, 1, SAMPLE_HZ) < 0.02


def shaken(line_g: float) -> Vibration:
    return Vibration(
        sample_rate_hz=208.0,
        lowpass_hz=20.8,
        frequency_hz=(0.0, 3.25),
        amplitude_g=(0.0, 0.0),
        pulse_hz=(390.0, 780.0),
        folded_hz=(26.0, 52.0),
        line_g=(line_g, None),
    )


def test_what_the_spectrum_suggests() -> None:
    assert "stay as they are" in advice(shaken(0.0), SETTINGS)[0]
    assert "are right" in advice(shaken(1e-4), SETTINGS)[-1]
    strong = shaken(0.003)
    worst = worst_bias(strong, SETTINGS, 1.0, 208.0)
    (words,) = advice(strong, SETTINGS)[1:]
    corner = float(words.split("`imu.lowpass_hz = ")[1].split("`")[0])
    assert corner == pytest.approx(20.8 * math.sqrt(0.01 / worst.bias_deg), abs=0.06)
    assert "damp the motor's mount" in advice(shaken(0.5), SETTINGS)[-1]


def test_a_slower_raise_whose_pulses_pass_the_sample_rate_lets_more_through() -> None:
    found = shaken(1e-3)
    slow, fast = (worst_bias(found, SETTINGS, rate, 208.0) for rate in (0.27, 1.0))
    assert slow.bias_deg > fast.bias_deg
    kept = msgspec.structs.replace(found, line_g=(None, None))
    assert worst_bias(kept, SETTINGS, 1.0, 208.0).bias_deg == 0.0
