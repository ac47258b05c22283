"""The angle of a board that is raised by hand, against what the twin's hand did.

The hand (`rig.twin.hand`) and the sensors share no code with the smoother.
"""

import math

import msgspec
import numpy as np
import pytest

from rig.analysis.angle.ramp import build_ramp
from rig.analysis.angle.smoother import HandRamp, build_hand_ramp, even_rate_deg_s
from rig.calibration.model import Calibration
from rig.runfile.model import Header, Line, Samples
from rig.runfile.reader import RunFile
from rig.settings.model import BusSettings, MotionSettings, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import draw_imu, draw_scenario
from rig.twin.gyro import Gyro
from rig.twin.placed import bag_radius_m, incline_of
from rig.twin.scenario import BoardTruth, GyroTruth, HandTruth, Scenario
from rig.twin.sensor import Array
from rig.twin.streams import stream
from tests.fastsim.hand_run import HandRun, as_run, gyro_corner_hz, gyro_counts, simulate_hand_run
from tests.fastsim.run import _Run
from tests.teeth import without

SETTINGS = Settings(motion=MotionSettings(raised_by="hand"))
OLDER = Settings(
    motion=MotionSettings(raised_by="hand"), bus=BusSettings(imu_model="mpu6050", imu_address=0x68)
)
EVEN = HandTruth(tremor_g=0.0, ripple=0.0, pace_sd=0.0, pauses_per_s=0.0, jerks_per_s=0.0)


def scenario(seed: int, **hand: float) -> Scenario:
    drawn = without(draw_scenario(seed, law="slip_weakening"))
    return msgspec.structs.replace(drawn, hand=msgspec.structs.replace(drawn.hand, **hand))


def smoothed(made: HandRun, calibration: Calibration) -> HandRamp:
    run = made.run
    edges = [event.t_s for event in run.events if event.event.startswith("beam_")]
    started = run.first_event("raise_started")
    assert started is not None
    found = build_hand_ramp(run, calibration, started.t_s, edges[0], edges[-1])
    assert found is not None
    return found


def errors_deg(
    made: HandRun, found: HandRamp, true: Scenario, settings: Settings
) -> tuple[Array, Array]:
    """Errors of the board's and of the felt angle over the slide and a second before it."""
    incline, radius_m = incline_of(true), bag_radius_m(settings)
    edges = [event.t_s for event in made.run.events if event.event.startswith("beam_")]
    near = (found.grid_s > edges[0] - 1.5) & (found.grid_s < edges[-1])
    times = found.grid_s[near].tolist()
    board = np.array([incline.total_deg(made.path.angle_rad(t)) for t in times])
    felt = np.array([incline.total_deg(made.path.felt_rad(t, radius_m)) for t in times])
    return found.board_deg[near] - board, found.felt_deg[near] - felt


@pytest.mark.parametrize("settings", [SETTINGS, OLDER], ids=["lsm6dsox", "mpu6050"])
@pytest.mark.parametrize("rate_deg_s", [0.5, 1.0, 2.0])
def test_the_smoother_follows_ripple_drift_and_tremor(
    settings: Settings, rate_deg_s: float
) -> None:
    """With an exact calibration; bias and gain of the gyroscope are the chip's own."""
    true = scenario(11, pauses_per_s=0.0, jerks_per_s=0.0)
    true = msgspec.structs.replace(true, imu=draw_imu(11, settings.bus.imu_model))
    calibration = calibration_for(true, settings, 11, is_exact=True)
    made = simulate_hand_run(settings, true, 11, rate_deg_s=rate_deg_s, calibration=calibration)
    found = smoothed(made, calibration)
    board, felt = errors_deg(made, found, true, settings)
    assert np.std(board) < 0.01
    assert abs(np.mean(board)) < 0.05  # skewed axes, which no calibration sees
    assert np.std(felt) < 0.05 * rate_deg_s**2 + 0.01


@pytest.mark.long
def test_what_it_states_is_what_it_misses() -> None:
    """12 raises with nothing but noise: error of the angle at the first edge by its own u."""
    misses = []
    for seed in range(12):
        true = msgspec.structs.replace(scenario(seed), hand=EVEN, board=BoardTruth())
        true = msgspec.structs.replace(true, imu=msgspec.structs.replace(true.imu, shear=(0, 0, 0)))
        calibration = calibration_for(true, SETTINGS, seed, is_exact=True)
        made = simulate_hand_run(SETTINGS, true, seed, calibration=calibration)
        found = smoothed(made, calibration)
        edge_s = found.ramp.pivot_s
        wanted = incline_of(true).total_deg(made.path.angle_rad(edge_s))
        u = found.ramp.u_fit_deg(edge_s)
        misses.append((float(found.ramp.angle_deg(edge_s)) - wanted) / math.hypot(u, 0.001))
    assert 0.5 < np.sqrt(np.mean(np.square(misses))) < 1.6  # χ² of 12: 0.61 to 1.39 at 95 %


def test_it_agrees_with_the_steps_on_a_motor_rig() -> None:
    """The gyroscope read beside the steps: both paths through the same accelerometer."""
    motor = Settings()
    apart = []
    for seed in (3, 4, 5):
        true = draw_scenario(seed, law="coulomb")
        calibration = calibration_for(true, motor, seed, is_exact=True)
        made = _Run(motor, true, seed, 1, 1.0, 10.0, None, 1, 0.0)
        lines, _ = made.make(calibration, {})
        run = _with_gyro(made, lines, true, motor)
        edge_s = next(e.t_s for e in run.events if e.event == "beam_broken")
        started = run.first_event("raise_started")
        assert started is not None
        by_steps = build_ramp(run, calibration, started.t_s, edge_s)
        by_turn = build_hand_ramp(run, calibration, started.t_s, edge_s, edge_s + 0.1)
        assert by_steps is not None
        assert by_turn is not None
        times = edge_s - np.array([2.0, 1.0, 0.5, 0.0])
        board = np.interp(times, by_turn.grid_s, by_turn.board_deg)
        apart.append(board - by_steps.angle_deg(times))
    assert np.max(np.abs(apart)) < 0.02


def _with_gyro(made: _Run, lines: list[Line], true: Scenario, settings: Settings) -> RunFile:
    """The motor's run with the turns that its sensor's gyroscope would have given."""
    corner = gyro_corner_hz(settings)
    gyro = Gyro(true.imu, 1e3 / 4.8, corner, made.timeline.motion, stream(1, "gyro noise"))
    header, *body = lines
    assert isinstance(header, Header)
    turned: list[Line] = []
    for line in body:
        if isinstance(line, Samples):
            times = np.add(line.dt_s * np.arange(len(line.counts), dtype=np.float64), line.t_s)
            turns = np.rint(gyro.measure(times, 25.0) * gyro_counts(settings)).astype(int)
            line = msgspec.structs.replace(line, gyro_counts=[tuple(t) for t in turns.tolist()])
        turned.append(line)
    imu = msgspec.structs.replace(
        header.settings.imu, gyro_counts_per_deg_s=gyro_counts(settings), gyro_lowpass_hz=corner
    )
    of_run = msgspec.structs.replace(header.settings, imu=imu)
    return as_run([msgspec.structs.replace(header, settings=of_run), *turned])


def test_a_gyroscope_that_is_off_gives_no_path() -> None:
    made = simulate_hand_run(SETTINGS, scenario(2), 2)
    run = made.run
    run.samples = [msgspec.structs.replace(s, gyro_counts=msgspec.UNSET) for s in run.samples]
    assert run.header.calibration is not None
    assert build_hand_ramp(run, run.header.calibration, 12.8, 40.0, 41.0) is None


def test_a_bias_of_the_gyroscope_moves_nothing() -> None:
    """Two chips that differ in bias and gain alone; the noise is the same."""
    angles = []
    for gyro in (GyroTruth(), GyroTruth(bias_deg_s=(2.0, -3.0, 1.0), gain=(1.01, 0.99, 1.01))):
        true = scenario(6)
        true = msgspec.structs.replace(true, imu=msgspec.structs.replace(true.imu, gyro=gyro))
        calibration = calibration_for(true, SETTINGS, 6, is_exact=True)
        found = smoothed(simulate_hand_run(SETTINGS, true, 6, calibration=calibration), calibration)
        angles.append(float(found.ramp.angle_deg(found.ramp.pivot_s)))
    assert angles[0] == pytest.approx(angles[1], abs=0.004)


def test_the_even_rate_is_that_of_an_even_raise_and_between_those_of_an_uneven_one() -> None:
    made = simulate_hand_run(SETTINGS, msgspec.structs.replace(scenario(8), hand=EVEN), 8)
    assert made.run.header.calibration is not None
    ramp = smoothed(made, made.run.header.calibration).ramp
    edge_s = ramp.pivot_s
    assert even_rate_deg_s(ramp, edge_s - 0.4, edge_s) == pytest.approx(1.0, abs=0.03)
    bent = ramp._replace(
        steps_deg=np.where(ramp.steps_s < edge_s - 0.2, 0.0, 1.0) * (ramp.steps_s - edge_s + 0.2)
    )
    # 0 for the first half of the time, 1 °/s for the second: 6/τ³·(τ/2)³/6 by hand.
    assert even_rate_deg_s(bent, edge_s - 0.4, edge_s) == pytest.approx(0.125, abs=0.01)
