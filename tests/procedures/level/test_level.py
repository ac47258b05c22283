from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.calibration.apply import cross_slope_deg, gravity_g, inclination_deg, u_inclination_deg
from rig.calibration.file import load_calibration
from rig.calibration.model import Calibration
from rig.calibration.plan import CountsReading, LevelPlan, SpanPoint, ZeroReadings
from rig.calibration.show import calibration_text
from rig.errors import BadInputError, MachineFaultError, RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.level.check import level_check
from rig.procedures.level.level import LevelProcedure, StoppedLevelError
from rig.procedures.level.person import Answer, FilePerson
from rig.procedures.level.progress import NAME, load_progress
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import RunFile, read_run
from rig.settings.kinematics import Kinematics
from rig.settings.model import ImuSettings, Screw, Settings
from rig.twin.bubble import TwinLevelPerson
from rig.twin.draws import changed, draw_scenario
from rig.twin.placed import incline_of
from rig.twin.scenario import Scenario

SIX = (
    *(SpanPoint(angle_deg=angle, direction="up", turned=False) for angle in (12.0, 22.0, 34.0)),
    *(SpanPoint(angle_deg=angle, direction="down", turned=True) for angle in (33.0, 20.0, 10.0)),
)
QUICK = LevelPlan(span=SIX, sweep=False)
SEED = 5
RIG = Settings(imu=ImuSettings(rate_hz=104), screw=Screw(microsteps=1))
"""Half of the samples and half of the pulses: what is tested here does not need more."""


def calibrated(
    scenario: Scenario,
    folder: Path,
    plan: LevelPlan = QUICK,
    own_error_deg: float = 0.05,
    seed: int = SEED,
) -> tuple[OpenRig, Calibration]:
    rig = open_twin(RIG, scenario, seed)
    person = rig.level_person(seed, own_error_deg=own_error_deg)
    assert person is not None
    with rig:
        _, made = rig.run(LevelProcedure(rig.machine, person, plan, folder).run())
    return rig, made


def errors_deg(rig: OpenRig, made: Calibration, angles: tuple[float, ...]) -> list[float]:
    """What the calibrated sensor would say, less the truth, without noise."""
    assert rig.twin is not None
    world = rig.twin.world
    imu, incline = world.scenario.imu, incline_of(world.scenario)
    warmth = world.imu_temperature_c(rig.machine.clock.time_s())
    to_raw = rig.twin._sensor._to_raw  # type: ignore[union-attr] # noqa: SLF001 - the truth
    found = []
    for angle in np.radians(angles):
        force = [
            incline.up_x * np.cos(angle) + incline.up_z * np.sin(angle),
            incline.up_y,
            incline.up_z * np.cos(angle) - incline.up_x * np.sin(angle),
        ]
        drift = np.array(imu.drift_g_per_k) * (warmth - imu.reference_temperature_c)
        raw = (to_raw @ force + np.array(imu.bias_g) + drift) * made.counts_per_g
        gravity = gravity_g(made, raw, warmth)
        found.append(float(inclination_deg(made, gravity)) - incline.total_deg(float(angle)))
    return found


CASES: dict[str, tuple[dict[str, Any], float]] = {
    "level's own error 0.1": ({}, 0.1),
    "turned by 90": ({"imu": {"mounting_deg": (0.0, 0.0, 90.0)}}, 0.05),
    "upside down": ({"imu": {"mounting_deg": (180.0, 0.0, 0.0)}}, 0.05),
    "cross-mounted by 5": ({"imu": {"mounting_deg": (5.0, 0.0, 0.0)}}, 0.05),
    "hinge 1 out of level": ({"board": {"hinge_cross_deg": 1.0}}, 0.05),
}


@pytest.mark.parametrize("case", CASES)
def test_a_calibration_on_the_twin_recovers_the_inclination(case: str, tmp_path: Path) -> None:
    changes, own_error = CASES[case]
    scenario = draw_scenario(SEED)
    for section, values in changes.items():
        scenario = changed(scenario, **{section: values})
    rig, made = calibrated(scenario, tmp_path, own_error_deg=own_error)
    angles = (5.0, 15.0, 25.0, 35.0, 42.0)
    errors = errors_deg(rig, made, angles)
    assert max(abs(error) for error in errors) < 0.08, errors
    assert made.notes == ()
    files = sorted(path.name for path in tmp_path.iterdir())
    assert [name.split(".")[1] for name in files] == ["captures", "json"]
    assert load_calibration(tmp_path / files[1]) == made


def test_the_sweep_finds_delay_and_vibration(tmp_path: Path) -> None:
    plan = msgspec.structs.replace(QUICK, sweep=True)
    rig, made = calibrated(draw_scenario(1), tmp_path, plan, seed=1)
    assert rig.twin is not None
    truth_ms = 1e3 * rig.twin._sensor.filter_delay_s  # type: ignore[union-attr] # noqa: SLF001
    assert abs(made.filter_delay_ms - truth_ms) < 3.0 * made.u_filter_delay_ms
    assert made.u_filter_delay_ms < 3.0
    kept = load_progress(next(tmp_path.glob("*.captures")))
    assert kept is not None
    assert kept.sweep is not None
    assert kept.sweep.axis_off_deg < 1.0
    shown = calibration_text(made)
    assert made.vibration is not None
    pulse_hz = (
        Kinematics(RIG.linkage, RIG.screw).pulse_rate_hz(np.linspace(3.0, 38.0, 50), 0.5).mean()
    )
    assert made.vibration.pulse_hz[0] == pytest.approx(float(pulse_hz), rel=0.03)
    assert f"the motor's pulses at {made.vibration.pulse_hz[0]:.0f} Hz" in shown
    assert "after a low-pass of" in shown
    assert made.vibration.suggests[-1] in shown
    assert len(made.vibration.amplitude_g) == len(made.vibration.frequency_hz) == 33


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> tuple[OpenRig, Calibration]:
    """The rig of the seed, calibrated; three tests look at it and none changes it."""
    return calibrated(draw_scenario(SEED), tmp_path_factory.mktemp("usual"))


class Hesitant:
    """Reads as another person does, and answers as told."""

    def __init__(self, person: TwinLevelPerson, answers: dict[str, list[Answer]]) -> None:
        self._person = person
        self._answers = answers
        self.seen: list[str] = []
        self.level_deg = person.level_deg
        self.bubble_deg = person.bubble_deg
        self.shown_deg = person.shown_deg
        self.across_deg = person.across_deg
        self.position = person.position
        self.screw_on = person.screw_on
        self.warmed = person.warmed

    def go_on(self, step: str, found: str) -> Answer:
        self.seen.append(step)
        left = self._answers.get(step)
        return left.pop(0) if left else "on"


@pytest.mark.long
def test_steps_can_be_done_again_and_gone_on_with_another_day(tmp_path: Path) -> None:
    scenario = draw_scenario(SEED)
    rig = open_twin(RIG, scenario, SEED)
    person = rig.level_person(SEED)
    assert person is not None
    first = Hesitant(person, {"zero": ["redo"], "up 34": ["stop"]})
    with rig, pytest.raises(StoppedLevelError, match="resumes there"):
        rig.run(LevelProcedure(rig.machine, first, QUICK, tmp_path).run())
    assert first.seen == ["zero", "zero", "up 12", "up 22", "up 34"]
    kept = load_progress(tmp_path / NAME)
    assert kept is not None
    assert list(kept.span) == ["up 12", "up 22"]

    rig = open_twin(RIG, scenario, SEED)
    person = rig.level_person(SEED)
    assert person is not None
    second = Hesitant(person, {})
    with rig:
        rig.run(LevelProcedure(rig.machine, second, QUICK, tmp_path, redo="up 12").run())
    assert second.seen == ["up 12", "up 34", "down 33", "down 20", "down 10"]


def test_nonsense_of_a_progress_file_or_a_step_is_refused(tmp_path: Path) -> None:
    rig = open_twin(RIG, draw_scenario(SEED), SEED)
    person = rig.level_person(SEED)
    assert person is not None
    with rig:
        with pytest.raises(BadInputError, match="steps: zero, up 12"):
            rig.run(LevelProcedure(rig.machine, person, QUICK, tmp_path, redo="up 99").run())
        (tmp_path / NAME).write_text("{")
        with pytest.raises(BadInputError, match="--fresh"):
            rig.run(LevelProcedure(rig.machine, person, QUICK, tmp_path).run())


def test_readings_from_a_file_must_be_whole() -> None:
    with pytest.raises(BadInputError, match=r"\[zero\]"):
        FilePerson(LevelPlan(span=SIX))


def one_run(scenario: Scenario, calibration: Calibration, folder: Path, check: bool) -> RunFile:
    rig = open_twin(RIG, scenario, SEED)
    rig.machine.calibration = calibration
    if check:
        person = rig.level_person(SEED, own_error_deg=0.05, resolution_deg=0.02)
        assert person is not None
        with rig:
            rig.run(level_check(rig.machine, person, folder, 0.02))
        again = open_twin(RIG, scenario, SEED)
        again.machine.calibration, again.machine.home_check = calibration, rig.machine.home_check
        rig = again
    started = rig.machine.clock.utc_now()
    requests = plan_series(RIG, 1, source="twin", started=started)
    with rig:
        made = rig.run(make_runs(rig.machine, requests, folder, start_now=True))
    return read_run(made[0].path)


def tilted(scenario: Scenario, by_deg: float) -> Scenario:
    along = scenario.board.floor_along_deg + by_deg
    return changed(scenario, board={"floor_along_deg": along})


def test_a_floor_that_tilted_is_refused_until_a_level_agrees_then_flagged(
    tmp_path: Path, usual: tuple[OpenRig, Calibration]
) -> None:
    scenario = draw_scenario(SEED)
    rig, made = usual
    moved = tilted(scenario, 0.5)
    with pytest.raises(MachineFaultError, match="from the calibration"):
        one_run(moved, made, tmp_path / "runs", check=False)
    run = one_run(moved, made, tmp_path / "runs", check=True)
    assert run.end is not None
    assert "floor_tilt" in run.end.flags
    # The sensor still tells the real inclination on the tilted floor.
    there = open_twin(RIG, moved, SEED)
    assert there.twin is not None
    there.twin._sensor = rig.twin._sensor  # type: ignore[union-attr] # noqa: SLF001
    assert max(abs(e) for e in errors_deg(there, made, (10.0, 20.0, 30.0))) < 0.05


def slipped(scenario: Scenario, calibration: Calibration, by_deg: float) -> Calibration:
    """A sensor that slipped about the hinge is one whose calibration stands wrong by as much."""
    level, axis = np.array(calibration.level), np.array(calibration.axis)
    turned = level * np.cos(np.radians(by_deg)) + np.cross(axis, level) * np.sin(np.radians(by_deg))
    turned /= np.linalg.norm(turned)
    return msgspec.structs.replace(calibration, level=tuple(turned.tolist()))


def test_a_sensor_that_slipped_is_refused_and_no_level_helps(
    tmp_path: Path, usual: tuple[OpenRig, Calibration]
) -> None:
    scenario = draw_scenario(SEED)
    _, made = usual
    wrong = slipped(scenario, made, 0.5)
    with pytest.raises(RigError, match="moved"):
        one_run(scenario, wrong, tmp_path / "runs", check=False)
    with pytest.raises(BadInputError, match="calibrate again"):
        one_run(scenario, wrong, tmp_path / "runs", check=True)


def test_uncertainty_and_cross_slope_of_the_made_calibration(
    usual: tuple[OpenRig, Calibration],
) -> None:
    rig, made = usual
    assert rig.twin is not None
    board = rig.twin.world.scenario.board
    assert made.home_cross_deg == pytest.approx(
        board.floor_across_deg
        + board.hinge_cross_deg
        + np.degrees(np.arcsin(np.dot(made.axis, made.level))),
        abs=0.06,
    )
    level = np.array(made.level)
    assert float(np.hypot(*u_inclination_deg(made, level))) < 0.05
    assert abs(float(cross_slope_deg(made, level))) < 2.0


def test_six_positions_and_a_second_temperature_led_through(tmp_path: Path) -> None:
    plan = msgspec.structs.replace(QUICK, six=True, second_temperature=True)
    scenario = draw_scenario(11)
    rig = open_twin(RIG, scenario, 11)
    twin_person = rig.level_person(11)
    assert twin_person is not None
    first = Hesitant(twin_person, {"six +y": ["redo"], "six -z": ["stop"]})
    with rig, pytest.raises(StoppedLevelError, match="resumes there"):
        rig.run(LevelProcedure(rig.machine, first, plan, tmp_path).run())
    assert first.seen == ["six +x", "six -x", "six +y", "six +y", "six -y", "six +z", "six -z"]

    rig = open_twin(RIG, scenario, 11)
    twin_person = rig.level_person(11)
    assert twin_person is not None
    second = Hesitant(twin_person, {})
    with rig:
        procedure = LevelProcedure(rig.machine, second, plan, tmp_path, redo="six +x")
        _, made = rig.run(procedure.run())
    assert second.seen[:3] == ["six +x", "six -z", "zero"]
    assert second.seen[-1] == "warm"
    # The truth at the temperature of the calibration, straight from the scenario.
    imu = scenario.imu
    warmer = made.temperature_c - imu.reference_temperature_c
    bias = np.array(imu.bias_g) + warmer * np.array(imu.drift_g_per_k)
    u = np.sqrt(np.diag(made.covariance))
    assert np.all(np.abs(np.array(made.bias_g) - bias) < 4.0 * u[:3])
    assert np.all(np.abs(np.array(made.gain) - imu.gain) < 4.0 * u[3:6])
    assert np.all(u[:3] < 3e-4)
    assert np.array(made.drift_g_per_k) == pytest.approx(
        np.array(imu.drift_g_per_k), abs=3.0 * made.u_drift_g_per_k
    )
    assert made.u_drift_g_per_k < 3e-5
    assert max(abs(e) for e in errors_deg(rig, made, (5.0, 20.0, 42.0))) < 0.05


def test_a_file_must_have_the_optional_readings_too() -> None:
    known = LevelPlan(span=SIX, zero=ZeroReadings(along=(0.0, 0.0), across=(0.0, 0.0)))
    with pytest.raises(BadInputError, match=r"no \[\[positions\]\] with up = '\+x'"):
        FilePerson(msgspec.structs.replace(known, six=True))
    with pytest.raises(BadInputError, match=r"no \[warm\] table"):
        FilePerson(msgspec.structs.replace(known, second_temperature=True))
    reading = CountsReading(counts=(16000.0, 0.0, -100.0), temperature_c=40.0)
    person = FilePerson(msgspec.structs.replace(known, second_temperature=True, warm=reading))
    warm = person.warmed(20.0)
    assert warm is not None
    assert (warm.counts, warm.temperature_c) == (reading.counts, 40.0)


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (-12.0, "wrong sign"),
        (1.2, "read it again"),
        (float("nan"), "not a number"),
        (78.0, "vertical"),
    ],
)
def test_readings_of_a_file_are_looked_at_before_anything_moves(shown: float, words: str) -> None:
    span = (SpanPoint(angle_deg=12.0, shown=shown), *SIX[1:])
    span = tuple(msgspec.structs.replace(p, shown=p.shown or p.angle_deg) for p in span)
    zero = ZeroReadings(along=(0.0, 0.0), across=(0.0, 0.0))
    with pytest.raises(BadInputError, match=words):
        FilePerson(LevelPlan(reference="digital", span=span, zero=zero))
