"""The calibration that the procedure would leave of a simulated rig, without the machine.

The captures are those of `rig level` (zero with the level turned, twelve points of a sine bar on
the way up and down, home, four unloaded sweeps), read by the simulated person whose level, blocks
and bar are wrong in their own ways. What is made of them is the procedure's own: `finish` and the
sweep's evaluation, over a stand-in for the machine.
"""

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np

from rig.calibration.captures import Rest, Span, Zero, rest_of
from rig.calibration.model import Calibration, SensorIdentity
from rig.calibration.plan import LevelPlan
from rig.calibration.reference import turned_level
from rig.motion.profile import rest_to_rest
from rig.procedures.level.finish import finish
from rig.procedures.level.level import name_of
from rig.procedures.level.progress import LevelProgress
from rig.procedures.level.steadiness import CAPTURE_S
from rig.procedures.level.sweep import (
    HIGH_DEG,
    LOW_DEG,
    RATES_DEG_S,
    _blocks,
    _findings,
    _Record,
)
from rig.runfile.model import ImuSetup
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from rig.twin.bubble import TwinLevelPerson
from rig.twin.draws import draw_air
from rig.twin.fitted import fitted_chip
from rig.twin.placed import incline_of, linkage_of
from rig.twin.scenario import Scenario
from rig.twin.sensor import Motion, Sensor
from rig.twin.streams import stream
from tests.fastsim.timeline import Move, Timeline

MADE_AT = datetime(2025, 12, 2, 9, 0, tzinfo=UTC)
MAX_NUDGES = 15


class _Bench:
    """The board at rest at any angle, and the sensor on it."""

    def __init__(self, seed: int, scenario: Scenario, settings: Settings) -> None:
        self.scenario, self.settings = scenario, settings
        self.chip = fitted_chip(settings, scenario.imu)
        self.random = stream(seed, "calibration captures")
        air = draw_air(seed, "day of the calibration")
        self.temperature_c = air.temperature_c + air.board_offset_k + scenario.imu.self_heating_k
        # What the simulated person looks at.
        self.motor = SimpleNamespace(angle_deg=0.0)
        self.machine: Any = SimpleNamespace(
            settings=settings,
            linkage=Kinematics(settings.linkage, settings.screw),
            imu=SimpleNamespace(
                counts_per_g=self.chip.counts_per_g,
                setup=ImuSetup(
                    model=self.chip.model,
                    rate_hz=self.chip.stated_rate_hz,
                    lowpass_hz=self.chip.lowpass_hz,
                    mode=settings.bus.imu_mode,
                ),
            ),
            live=SimpleNamespace(imu_temperature_c=self.temperature_c),
            clock=SimpleNamespace(utc_now=lambda: MADE_AT),
        )

    @property
    def board_deg(self) -> float:
        """Angle that the simulated level stands at."""
        return float(self.motor.angle_deg)

    def sensor(self, motion: Any) -> Sensor:
        chip = self.chip
        incline = incline_of(self.scenario)
        return Sensor(
            self.scenario.imu, incline, chip.rate_hz, chip.lowpass_hz, motion, self.random
        )

    def counts(self, sensor: Sensor, times_s: Any) -> Any:
        raw = sensor.measure(times_s, self.temperature_c)
        return np.clip(np.rint(raw * self.chip.counts_per_g), -32768, 32767).astype(int)

    def rest(self, angle_deg: float) -> Rest:
        """Three seconds at rest."""
        self.motor.angle_deg = angle_deg

        def still(times_s: Any) -> Motion:
            zero = np.zeros(times_s.size)
            return Motion(np.full(times_s.size, np.radians(angle_deg)), zero, zero, zero, zero)

        sensor = self.sensor(still)
        times = np.arange(int(CAPTURE_S * sensor.rate_hz)) / sensor.rate_hz
        return rest_of(self.counts(sensor, times).tolist(), self.temperature_c)


def calibrate(seed: int, scenario: Scenario, settings: Settings) -> Calibration:
    """Calibrate one simulated rig by the procedure, with the errors of its own level and bar.

    Args:
        seed: of the errors.
        scenario: the truth on the day of the calibration.
        settings: the rig's settings.
    """
    bench = _Bench(seed, scenario, settings)
    person = TwinLevelPerson(bench, seed)  # type: ignore[arg-type]
    plan, chip = LevelPlan(), bench.chip
    sensor = SensorIdentity(
        model=chip.model, address=settings.bus.imu_address, identity=chip.identity
    )
    progress = LevelProgress(sensor=sensor, started_at="", plan=plan)
    rest = bench.rest(max(0.0, settings.linkage.home_angle_deg))
    along, across = (
        turned_level(
            person.level_deg(where, False),
            person.level_deg(where, True),
            resolution_deg=plan.resolution_deg,
            where=where,
        )
        for where in ("along", "across")
    )
    progress.zero = Zero(rest=rest, along=along, across=across)
    for point in plan.points():
        bar, angle = plan.bar(point), point.angle_deg
        bench.motor.angle_deg = angle
        for _ in range(MAX_NUDGES):
            off = person.bubble_deg(bar, point, angle)
            if off == 0.0:
                break
            angle += off
            bench.motor.angle_deg = angle
        progress.span[name_of(point)] = Span(
            rest=bench.rest(angle),
            reading=bar.null(along, point.turned, plan.u_null_deg),
            direction=point.direction,
        )
    progress.home = bench.rest(settings.linkage.home_angle_deg)
    fitted = finish(progress, bench.machine)
    progress.sweep = _sweep(bench, fitted)
    return finish(progress, bench.machine)


def _sweep(bench: _Bench, fitted: Calibration) -> Any:
    """Four sweeps in a row, at two rates, up and down."""
    settings, motion = bench.settings, bench.settings.motion
    linkage = bench.machine.linkage
    timeline = Timeline(
        linkage, linkage_of(bench.scenario, settings), settings.linkage.home_angle_deg, LOW_DEG
    )
    high = min(HIGH_DEG, settings.linkage.soft_limit_deg)
    at_s = 1.0
    for rate in RATES_DEG_S:
        for up in (True, False):
            profile = rest_to_rest(
                high - LOW_DEG, rate, motion.acceleration_deg_s2, motion.ramp_jerk_deg_s3
            )
            timeline.moves.append(Move(at_s, LOW_DEG if up else high, 1 if up else -1, profile))
            at_s = timeline.moves[-1].end_s + 1.2
    sensor = bench.sensor(timeline.motion)
    dt_s = 1.0 / sensor.rate_hz
    times = dt_s * (np.arange(int(at_s / dt_s)) + bench.random.random())
    counts = bench.counts(sensor, times)
    pulses = timeline.pulses(np.arange(0.0, at_s, 0.02))
    records, sweeps = [], []
    for move in timeline.moves:
        first, last = np.searchsorted(times, [move.start_s, move.end_s + 0.2])
        batch: Any = SimpleNamespace(
            t_s=float(times[first]), dt_s=dt_s, counts=counts[first:last].tolist()
        )
        steps = [(t_s, n) for t_s, n in pulses if move.start_s <= t_s <= move.end_s + 0.2]
        record = _Record([batch], steps, move.direction > 0)
        rate = float(move.profile.speed.max())
        records.append(record)
        sweeps.append(_blocks(bench.machine, fitted, record, move.direction * rate))
    return _findings(bench.machine, fitted, records[0], sweeps)
