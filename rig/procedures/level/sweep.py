"""Unloaded sweeps at the end of a calibration: axis, vibration, filter delay."""

from typing import Any

import msgspec
import numpy as np

from rig.analysis.angle.vibration import advice
from rig.calibration.apply import along_slope_deg, gravity_g
from rig.calibration.axis import (
    Array,
    Spectrum,
    Sweep,
    axis_of_sweep,
    filter_delay,
    vibration,
)
from rig.calibration.model import Calibration, Vibration
from rig.clock import Task
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.devices.imu import ImuBatch
from rig.procedures.level.progress import SweepFindings

LOW_DEG, HIGH_DEG = 3.0, 38.0
RATES_DEG_S = (0.5, 2.0)
BLOCK_S = 0.1
EDGE_S = 0.6
"""Excluded at both ends, where the board accelerates and the filters settle."""


class _Record:
    """Samples and steps of one sweep."""

    def __init__(self, batches: list[ImuBatch], steps: list[tuple[float, int]], up: bool) -> None:
        times = [b.t_s + i * b.dt_s for b in batches for i in range(len(b.counts))]
        self.t_s: Array = np.array(times)
        self.counts: Array = np.array([c for b in batches for c in b.counts], dtype=float)
        known = dict(steps)
        self.steps_s: Array = np.array(list(known))
        # A pulse comes when the target angle passes half-way between two counts.
        half = -0.5 if up else 0.5
        self.steps: Array = np.array(list(known.values()), dtype=float) + half


def sweep_findings(machine: Machine, mover: Mover, calibration: Calibration) -> Task[SweepFindings]:
    """Task: sweep up and down at two rates and evaluate the sweeps.

    Args:
        machine: opened and homed.
        mover: moves it.
        calibration: fitted, but for the delay.
    """
    sweeps, records = [], []
    linkage = machine.settings.linkage
    high = min(HIGH_DEG, linkage.soft_limit_deg)
    yield from _move(machine, mover, LOW_DEG, 1.0)
    for rate in RATES_DEG_S:
        for up in (True, False):
            fastest = min(rate, machine.lowering_rate_deg_s)
            yield from mover.wait_s(1.0)
            record = yield from _sweep(machine, mover, high if up else LOW_DEG, fastest, up)
            records.append(record)
            sweeps.append(_blocks(machine, calibration, record, fastest if up else -fastest))
    return _findings(machine, calibration, records[0], sweeps)


def _move(machine: Machine, mover: Mover, to_deg: float, rate_deg_s: float) -> Task[None]:
    machine.enter("raising" if to_deg > machine.step_angle_deg() else "lowering")
    yield from mover.move(machine.plan(to_deg, rate_deg_s))


def _sweep(
    machine: Machine, mover: Mover, to_deg: float, rate_deg_s: float, up: bool
) -> Task[_Record]:
    machine.enter("raising" if up else "lowering")
    batches: list[ImuBatch] = []
    steps: list[tuple[float, int]] = []

    def look(_: Any) -> None:
        steps.append(machine.stepper.latest)

    with machine.listening(batches.append):
        yield from mover.move(machine.plan(to_deg, rate_deg_s), look)
        yield from mover.wait_s(0.2)
    return _Record(batches, steps, up)


def _steady(record: _Record) -> tuple[Array, Array]:
    """Mask of the samples in the steady part, and the step count at their times."""
    first, last = record.steps_s[0] + EDGE_S, record.steps_s[-1] - EDGE_S
    chosen: Array = (record.t_s > first) & (record.t_s < last)
    return chosen, np.interp(record.t_s[chosen], record.steps_s, record.steps)


def _blocks(machine: Machine, calibration: Calibration, record: _Record, rate: float) -> Sweep:
    chosen, steps = _steady(record)
    gravity = gravity_g(calibration, record.counts[chosen], machine.live.imu_temperature_c)
    by_sensor = along_slope_deg(calibration, gravity)
    by_steps = machine.linkage.angle_deg(steps)
    block = max(1, round(BLOCK_S * machine.imu.setup.rate_hz))
    used = len(by_sensor) // block * block
    return Sweep(
        by_sensor[:used].reshape(-1, block).mean(axis=1),
        by_steps[:used].reshape(-1, block).mean(axis=1),
        rate,
    )


def _findings(
    machine: Machine, calibration: Calibration, slow: _Record, sweeps: list[Sweep]
) -> SweepFindings:
    delay = filter_delay(sweeps)
    chosen, steps = _steady(slow)
    gravity = gravity_g(calibration, slow.counts[chosen], machine.live.imu_temperature_c)
    block = 4 * max(1, round(BLOCK_S * machine.imu.setup.rate_hz))
    used = len(gravity) // block * block
    axis = axis_of_sweep(gravity[:used].reshape(-1, block, 3).mean(axis=1))
    cosine = float(np.dot(axis.axis, calibration.axis))
    rates = np.abs(np.gradient(steps, slow.t_s[chosen]))
    shake = vibration(gravity, machine.imu.setup.rate_hz, rates)
    return SweepFindings(
        axis_off_deg=float(np.degrees(np.arccos(min(1.0, cosine)))),
        misfit_g=axis.misfit_g,
        delay_ms=delay.delay_ms,
        u_delay_ms=delay.u_delay_ms,
        backlash_deg=delay.backlash_deg,
        vibration=_vibration(machine, shake, float(rates.mean())),
    )


def _vibration(machine: Machine, shake: Spectrum, pulse_hz: float) -> Vibration:
    lines = [None if np.isnan(value) else round(float(value), 7) for value in shake.line_g]
    setup = machine.imu.setup
    found = Vibration(
        sample_rate_hz=setup.rate_hz,
        lowpass_hz=setup.lowpass_hz,
        frequency_hz=tuple(round(value, 2) for value in shake.frequency_hz.tolist()),
        amplitude_g=tuple(round(value, 7) for value in shake.amplitude_g.tolist()),
        pulse_hz=(pulse_hz, 2.0 * pulse_hz),
        folded_hz=(float(shake.line_hz[0]), float(shake.line_hz[1])),
        line_g=(lines[0], lines[1]),
    )
    return msgspec.structs.replace(found, suggests=advice(found, machine.settings))
