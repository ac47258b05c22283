"""The times of a simulated run, step by step, and what it leaves in its lines."""

from math import cbrt
from typing import Any, TypeVar

import msgspec
import numpy as np
import pytest

from rig.runfile.model import Climate, End, Event, Samples, Steps
from rig.settings.kinematics import Kinematics
from rig.settings.model import CycleSettings, MotionSettings, Pins, Settings
from rig.twin.draws import air_at, changed, draw_scenario
from rig.twin.fabric import plain_face
from tests.fastsim.run import simulate_run
from tests.teeth import without

SETTINGS = Settings(cycle=CycleSettings(dwell_s=7.0, climate_interval_s=3.0))
L = TypeVar("L")
LINKAGE = Kinematics(SETTINGS.linkage, SETTINGS.screw)
SCENARIO = changed(
    without(draw_scenario(1, face=plain_face(0.4, 0.36))),
    board={
        "floor_along_deg": 0.0,
        "floor_across_deg": 0.0,
        "hinge_cross_deg": 0.0,
        "base_pivot_error_mm": 0.0,
        "cradle_pivot_error_mm": 0.0,
    },
    bag={"gap_mm": 8.0, "slump_mm": 1.0, "skew_deg": 0.0},
    imu={"shear": (0.0, 0.0, 0.0)},
)


class Run:
    """One run and what is asked about it."""

    def __init__(self, settings: Settings = SETTINGS) -> None:
        self.lines, self.truth = simulate_run(settings, SCENARIO, 1, hours=2.0, number=3)

    def times(self, name: str) -> list[float]:
        """Of an event, or of the beginning of a state."""
        found = self.all(Event)
        return [e.t_s for e in found if name in (e.event, e.detail.get("state"))]

    def detail(self, name: str) -> dict[str, Any]:
        """What an event says."""
        return next(e.detail for e in self.all(Event) if e.event == name)

    def all(self, kind: type[L]) -> list[L]:
        """Lines of a kind."""
        return [line for line in self.lines if isinstance(line, kind)]


@pytest.fixture
def run() -> Run:
    return Run()


def ramps_s(rate: float) -> float:
    """What getting up to a rate and down again adds to a move; v/a + a/j."""
    return rate / 4.0 + 4.0 / 40.0


@pytest.mark.parametrize("rate", [0.5, 1.0])
def test_homing_finds_the_switch_twice(rate: float) -> None:
    run = Run(msgspec.structs.replace(SETTINGS, motion=MotionSettings(homing_rate_deg_s=rate)))
    first, second = run.times("limit_lower")
    # Up to speed in half of v/a + a/j, then on; 0.3° from 21 ms on.
    assert first == pytest.approx(0.021 + 0.3 / rate + ramps_s(rate) / 2, abs=0.01)
    # 0.5° back, a rest of 60 ms before and after, and at a quarter of the rate to the switch
    # again: there the ramp is all jerk, and takes 2·√(v/j).
    back_s = 0.5 / rate + ramps_s(rate)
    slowly_s = 0.5 / (0.25 * rate) + (0.25 * rate / 40.0) ** 0.5
    assert second - first == pytest.approx(0.12 + back_s + slowly_s, abs=0.02)


def test_from_the_switch_to_the_raise(run: Run) -> None:
    home_s = run.times("limit_lower")[1]
    assert run.times("home_reading")[0] == pytest.approx(home_s + 1.6, abs=1e-6)
    assert run.times("placing")[0] == pytest.approx(home_s + 1.601, abs=1e-6)
    # 2 s of watching, 1 s to the button, 60 ms until it is noticed.
    assert run.times("placed")[0] == pytest.approx(home_s + 3.06, abs=1e-6)
    assert run.times("dwelling") == run.times("placed")
    assert run.times("raising")[0] == run.times("raise_started")[0]
    assert run.times("raising")[0] - run.times("placed")[0] == pytest.approx(7.0, abs=1e-6)
    placed = run.detail("placed")
    assert (placed["gap_mm"], placed["u_gap_mm"]) == (8.0, 1.0)
    assert (placed["blade_steps"], placed["tries"], placed["pushes"]) == (None, 1, 0)
    # The contact ages until the first pulse: 21 ms for the driver, and half a pulse by j·t³/6.
    half_deg = 0.5 * float(LINKAGE.deg_per_pulse(0.0))
    first_s = cbrt(6.0 * half_deg / 40.0)
    assert run.truth.dwell_s == pytest.approx(7.0 + 1.06 + 0.021 + first_s, abs=1e-4)


def test_the_slide_and_the_end_of_the_raise(run: Run) -> None:
    (broken,), (clear,) = run.times("beam_broken"), run.times("beam_clear")
    assert run.truth.onset_time_s is not None
    started = run.times("raise_started")[0] + 0.021
    # 21.80° at 1 °/s, half of the ramps later.
    assert run.truth.onset_time_s - started == pytest.approx(21.8014 + ramps_s(1.0) / 2, abs=1e-3)
    # 7 mm and 160 mm at about g·cosθ·(µs - µk), which grows by g·(1 + µk·tanθ)·cosθ·ω·t.
    assert broken - run.truth.onset_time_s == pytest.approx(0.18, abs=0.03)
    assert clear - run.truth.onset_time_s == pytest.approx(0.85, abs=0.08)
    # 0.15 s more, then a stop from 1 °/s, and 10 ms.
    ended = run.times("raise_ended")[0]
    assert ended - clear == pytest.approx(0.15 + ramps_s(1.0) + 0.01, abs=0.002)
    assert run.times("lowering")[0] - ended == pytest.approx(0.01, abs=1e-5)


def test_the_lowering_takes_its_rate_from_the_pulses(run: Run) -> None:
    # 2000 pulses/s at 785.4 pulses per degree.
    fastest = 2.5465
    (ended,), (parked,) = run.times("raise_ended"), run.times("parked")
    steps = run.all(Steps)
    top_deg = max(LINKAGE.angle_deg(float(line.count)) for line in steps)
    way = top_deg - 0.3
    expected = 0.01 + 0.021 + way / fastest + ramps_s(fastest) + 0.02
    assert parked - ended == pytest.approx(expected, abs=0.005)
    down = [(line.t_s, line.count) for line in steps if ended + 2.0 < line.t_s < ended + 5.0]
    (t0, c0), (t1, c1) = down[0], down[-1]
    rate = (LINKAGE.angle_deg(float(c1)) - LINKAGE.angle_deg(float(c0))) / (t1 - t0)
    assert rate == pytest.approx(-fastest, rel=1e-3)
    last = steps[-1]
    assert LINKAGE.angle_deg(float(last.count)) == pytest.approx(0.3, abs=0.005)


def test_lines_are_in_order_and_the_climate_comes_every_three_seconds(run: Run) -> None:
    climate = [line.t_s for line in run.all(Climate)]
    assert climate == pytest.approx([0.05 + 3.0 * n for n in range(len(climate))])
    assert climate[-1] + 3.0 > run.times("parked")[0]
    end = run.lines[-1]
    assert isinstance(end, End)
    assert (end.samples_lost, end.bus_retries, end.lines) == (0, 0, len(run.lines) - 1)


def test_samples_tell_gravity_and_the_warmth_of_the_chip(run: Run) -> None:
    samples = run.all(Samples)
    air = SCENARIO.air
    warm = air_at(air, 2.0)[0] + air.board_offset_k + SCENARIO.imu.self_heating_k
    for line in (samples[0], samples[-1]):
        drift = air.temperature_drift_k_h * line.t_s / 3600.0
        assert line.imu_temperature_c == pytest.approx(warm + drift, abs=0.006)
    calibration = run.lines[0].calibration  # type: ignore[union-attr]
    assert calibration is not None
    counts = np.mean([row for line in samples[:2] for row in line.counts], axis=0)
    force = (counts / calibration.counts_per_g - calibration.bias_g) * calibration.gain
    assert float(np.linalg.norm(force)) == pytest.approx(1.0, abs=0.003)
    reading = run.detail("home_reading")
    # The stated errors of level and bias are 0.03° and 0.3 mg (0.017°).
    assert abs(reading["angle_deg"]) < 0.15
    assert abs(reading["cross_deg"]) < 0.15


def test_phases_of_the_sample_clock_differ_from_run_to_run() -> None:
    def first_s(number: int) -> float:
        lines, _ = simulate_run(SETTINGS, SCENARIO, 1, number=number)
        return next(line.t_s for line in lines if isinstance(line, Samples))

    found = {first_s(number) for number in (1, 2)}
    assert len(found) == 2
    assert all(0.0 <= one < 1 / 208 * 1.05 for one in found)


def test_rate_dwell_and_beams_can_be_asked_for() -> None:
    settings = Settings(pins=Pins(beam_2=18))
    lines, truth = simulate_run(settings, SCENARIO, 1, rate_deg_s=2.0, dwell_s=3.0)
    header = lines[0]
    assert (header.rate_deg_s, header.dwell_s) == (2.0, 3.0)  # type: ignore[union-attr]
    assert header.settings.beams == 2  # type: ignore[union-attr]
    started = next(e.t_s for e in lines if isinstance(e, Event) and e.event == "raise_started")
    assert truth.onset_time_s is not None
    expected = 0.021 + 21.8014 / 2.0 + ramps_s(2.0) / 2
    assert truth.onset_time_s - started == pytest.approx(expected, abs=1e-3)
    one, _ = simulate_run(settings, SCENARIO, 1, beams=1)
    assert one[0].settings.beams == 1  # type: ignore[union-attr]
