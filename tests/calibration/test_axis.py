import numpy as np
import pytest

from rig.calibration.axis import (
    Sweep,
    aliased_hz,
    axis_of_sweep,
    filter_delay,
    noise_g,
    vibration,
)
from rig.errors import BadInputError
from tests.calibration.invented_rig import InventedRig, rotation


def sweep_of(rig: InventedRig, top_deg: float = 40.0) -> np.ndarray:
    mounting = rotation(rig.mounting_deg)
    return np.array([mounting @ rig.force(turn) for turn in np.linspace(0.0, top_deg, 300)])


@pytest.mark.parametrize("mounting", [(0.0, 0.0, 0.0), (180.0, 0.0, 0.0), (30.0, -50.0, 80.0)])
def test_the_axis_of_a_sweep_also_out_of_level(mounting: tuple[float, float, float]) -> None:
    rig = InventedRig(mounting_deg=mounting, across_deg=1.0)
    points = sweep_of(rig) + rig.rng.normal(0.0, 1e-4, (300, 3))
    found = axis_of_sweep(points)
    truth = rotation(mounting) @ [0.0, 1.0, 0.0]
    off = np.degrees(np.arccos(min(1.0, float(np.dot(found.axis, truth)))))
    assert off < 0.1
    assert off < 4.0 * found.u_axis_deg
    assert found.misfit_g == pytest.approx(1e-4, rel=0.2)


def test_a_short_sweep_shows_no_axis() -> None:
    with pytest.raises(BadInputError, match="must cover 5°"):
        axis_of_sweep(sweep_of(InventedRig(), 3.0))


def test_noise_without_drift() -> None:
    rng = np.random.default_rng(3)
    counts = rng.normal(0.0, 10.0, (2000, 3)) + np.linspace(0.0, 100.0, 2000)[:, None]
    assert noise_g(counts, 10000.0) == pytest.approx((1e-3,) * 3, rel=0.06)


def test_lines_fold_at_half_the_sample_rate() -> None:
    # 780 pulses/s sampled at 208/s: 780 = 4·208 − 52. Own arithmetic.
    assert aliased_hz([50.0, 150.0, 208.0, 780.0], 208.0) == pytest.approx([50.0, 58.0, 0.0, 52.0])


@pytest.mark.parametrize("pulse_hz", [60.0, 155.0, 780.0, 1023.0])
def test_a_line_is_found_wherever_it_folds_to(pulse_hz: float) -> None:
    rate, n = 208.0, 4096
    t = np.arange(n) / rate
    rng = np.random.default_rng(9)
    samples = rng.normal(0.0, 1e-3, (n, 3))
    rates = pulse_hz * (1.0 + 0.02 * t / t[-1])
    phase = 2.0 * np.pi * np.cumsum(rates) / rate
    samples[:, 2] += 0.01 * np.sin(phase) + np.linspace(0.0, 0.5, n)
    found = vibration(samples, rate, rates)
    assert found.line_g[0] == pytest.approx(0.01, rel=0.15)
    assert found.line_g[1] < 0.002


def test_too_little_for_a_spectrum() -> None:
    with pytest.raises(BadInputError, match="needs 256"):
        vibration(np.zeros((100, 3)), 208.0, np.zeros(100))


def sweeps(delay_s: float, backlash_deg: float, rates: tuple[float, ...], seed: int) -> list[Sweep]:
    """The sensor is late, bent and noisy; the steps have lost motion and a wrong linkage."""
    rng = np.random.default_rng(seed)
    made = []
    for rate in rates:
        steps = np.arange(5.0, 35.0, abs(rate) * 0.1)
        true = steps - np.sign(rate) * backlash_deg / 2.0
        wrong = 0.2 + 0.01 * steps + 3e-4 * steps**2
        sensor = true + wrong - rate * delay_s + rng.normal(0.0, 0.01, len(steps))
        made.append(Sweep(sensor, steps, rate))
    return made


def test_delay_and_backlash_from_two_rates() -> None:
    found = filter_delay(sweeps(0.022, 0.05, (0.5, -0.5, 2.0, -2.0), 1))
    assert found.delay_ms == pytest.approx(22.0, abs=3.0 * found.u_delay_ms)
    assert found.u_delay_ms < 3.0
    assert found.backlash_deg == pytest.approx(0.05, abs=0.005)


def test_one_rate_leaves_the_backlash_in_the_uncertainty() -> None:
    found = filter_delay(sweeps(0.022, 0.02, (1.0, -1.0), 1))
    assert abs(found.delay_ms - 22.0) < 2.0 * found.u_delay_ms
    assert found.u_delay_ms > 9.0


def test_delay_needs_both_directions() -> None:
    with pytest.raises(BadInputError, match="up and down"):
        filter_delay(sweeps(0.02, 0.0, (1.0, 2.0), 1))
