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
    # The first place is the mean of a twentieth of the points, 2.5 % of the sweep.
    axis_of_sweep(sweep_of(InventedRig(), 5.2))
    with pytest.raises(BadInputError, match="must cover 5°"):
        axis_of_sweep(sweep_of(InventedRig(), 5.0))
    axis_of_sweep(sweep_of(InventedRig())[::40])
    with pytest.raises(BadInputError, match="sweep further"):
        axis_of_sweep(sweep_of(InventedRig())[::48])


def test_the_axis_scatters_as_stated_towards_the_chord_and_across() -> None:
    rig = InventedRig()
    points, noise = sweep_of(rig), rig.rng.normal(0.0, 1e-3, (60, 300, 3))
    found = [axis_of_sweep(points + one) for one in noise]
    axes = np.degrees(np.array([one.axis for one in found]) - [0.0, 1.0, 0.0])
    chord = np.array([np.cos(np.radians(20.0)), 0.0, -np.sin(np.radians(20.0))])
    # 60 draws give a standard deviation's standard error of 9 %.
    towards, across = (axes @ way for way in (chord, np.cross(chord, [0.0, 1.0, 0.0])))
    assert towards.std() == pytest.approx(np.mean([one.u_chord_deg for one in found]), rel=0.3)
    assert across.std() == pytest.approx(np.mean([one.u_axis_deg for one in found]), rel=0.3)
    assert np.mean([one.misfit_g for one in found]) == pytest.approx(1e-3, rel=0.05)


@pytest.mark.parametrize("top_deg", [30.0, -30.0])
@pytest.mark.parametrize("mounting", [(0.0, 0.0, 0.0), (30.0, -50.0, 80.0), (0.0, 70.0, 70.0)])
def test_the_chord_runs_from_where_gravity_stood_first_to_where_it_stood_last(
    mounting: tuple[float, float, float], top_deg: float
) -> None:
    points = sweep_of(InventedRig(mounting_deg=mounting), top_deg)
    chord = points[-1] - points[0]
    assert axis_of_sweep(points).chord == pytest.approx(
        (chord / np.linalg.norm(chord)).tolist(), abs=2e-3
    )


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
    vibration(np.zeros((256, 3)), 208.0, np.full(256, 60.0))
    with pytest.raises(BadInputError, match="needs 256"):
        vibration(np.zeros((255, 3)), 208.0, np.full(255, 60.0))


def test_noise_alone_makes_no_line() -> None:
    # A Hann window of 64 makes lines of 0.31 mg out of 1 mg of noise; that is taken off.
    noise = np.random.default_rng(4).normal(0.0, 1e-3, (4096, 3))
    assert vibration(noise, 208.0, np.full(4096, 60.0)).line_g[0] < 1e-4


def test_less_than_the_noise_at_the_motors_line_is_none() -> None:
    t = np.arange(512) / 208.0
    comb = sum(
        np.sin(2.0 * np.pi * 208.0 * k / 64 * t) for k in range(3, 31, 3) if k not in (9, 12)
    )
    found = vibration(np.stack([comb] * 3, axis=1), 208.0, np.full(512, 208.0 * 10 / 64))
    assert found.line_g[0] == 0.0


def test_the_two_lowest_lines_are_no_noise() -> None:
    """In a Hann window of 8 a swing of ±a from sample to sample makes lines 2, 3 and 4 of 0, a, 2a.

    Their middle, a, is the noise: √(4 − 1)·a is left at the motor's line, where the pulses swing.
    """
    swing = 0.01 * (-1.0) ** np.arange(512)[:, None] * [0.0, 0.0, 1.0]
    found = vibration(swing, 208.0, np.full(512, 104.0), block=8)
    assert found.line_g[0] == pytest.approx(0.01 * np.sqrt(3.0), rel=0.1)


def test_a_board_that_turns_evenly_does_not_shake() -> None:
    turning = np.linspace(0.0, 0.5, 512)[:, None] * [1.0, -1.0, 0.5]
    assert vibration(turning, 208.0, np.full(512, 60.0)).amplitude_g.max() < 1e-12


@pytest.mark.parametrize(("folded_hz", "is_seen"), [(6.4, False), (6.6, True)])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_line_that_folds_to_near_0_is_not_seen(
    folded_hz: float, is_seen: bool, side: float
) -> None:
    """Two lines of the spectrum, 2 · 208/64 = 6.5 Hz, are the turning of the board itself."""
    found = vibration(np.zeros((256, 3)), 208.0, np.full(256, 416.0 + side * folded_hz))
    assert found.line_hz[0] == pytest.approx(folded_hz)
    assert np.isnan(found.line_g[0]) != is_seen


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


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_delay_needs_both_directions(way: float) -> None:
    with pytest.raises(BadInputError, match="up and down"):
        filter_delay(sweeps(0.02, 0.0, (way, 2.0 * way), 1))


def exact(rates: tuple[float, ...], blocks: int = 40) -> list[Sweep]:
    """Late by 20 ms, and nothing else is wrong."""
    steps = np.linspace(5.0, 35.0, blocks)
    return [Sweep(steps - rate * 0.020, steps, rate) for rate in rates]


def test_a_few_blocks_show_no_delay() -> None:
    assert filter_delay(exact((1.0, -1.0), 10)).delay_ms == pytest.approx(20.0)
    with pytest.raises(BadInputError, match="18 blocks and need 20"):
        filter_delay(exact((1.0, -1.0), 9))


def test_what_no_sweep_shows_stays_in_the_uncertainty_of_the_delay() -> None:
    # Backlash is told from delay by rates that are more than 1.5 times apart.
    assert filter_delay(exact((1.0, -1.0, 1.6, -1.6))).u_delay_ms == pytest.approx(1.0)
    # Else 0.02° of it, half each way, at 1.2 °/s on average: √(1² + 8.333²).
    found = filter_delay(exact((1.0, -1.0, 1.4, -1.4)))
    assert found.u_delay_ms == pytest.approx(8.393, abs=1e-3)
    assert found.backlash_deg == 0.0


@pytest.mark.parametrize("backlash_deg", [0.05, -0.05])
def test_backlash_has_a_sign(backlash_deg: float) -> None:
    found = filter_delay(sweeps(0.022, backlash_deg, (0.5, -0.5, 2.0, -2.0), 1))
    assert found.backlash_deg == pytest.approx(backlash_deg, abs=0.005)


def test_the_delay_scatters_as_stated() -> None:
    rng, found = np.random.default_rng(8), []
    for _ in range(60):
        noisy = [
            s._replace(by_sensor_deg=s.by_sensor_deg + rng.normal(0.0, 0.2, 40))
            for s in exact((0.5, -0.5, 2.0, -2.0))
        ]
        found.append(filter_delay(noisy))
    delays = np.array([one.delay_ms for one in found])
    # 60 draws give a standard deviation's standard error of 9 %.
    assert delays.std() == pytest.approx(np.mean([one.u_delay_ms for one in found]), rel=0.3)
