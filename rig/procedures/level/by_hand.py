"""The guided calibration of a board that a person raises: prompts take the place of the moves.

The person lays the board flat, props it at each point and presses start; how far it stands is known
from the sensor's own turn since the zero. At the end the person raises and lowers the unloaded
board once (`rig.procedures.level.hand_sweep`).
"""

from pathlib import Path

import msgspec
import numpy as np

from rig.calibration.captures import Rest, Span, Zero
from rig.calibration.model import Calibration
from rig.calibration.plan import SpanPoint
from rig.calibration.reference import ReferenceReading, digital_reading
from rig.clock import Task
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.control.placing import wait_for_start
from rig.errors import BadInputError
from rig.procedures.level.finish import finish
from rig.procedures.level.hand_sweep import hand_sweep
from rig.procedures.level.level import (
    MAX_NUDGE_DEG,
    MAX_NUDGES,
    SENSOR_TO_STEPS_DEG,
    LevelProcedure,
    name_of,
)
from rig.procedures.level.progress import LevelProgress, save_progress
from rig.procedures.level.steadiness import steady_rest

WAIT_S = 900.0
"""Longest wait for the start button at a step."""
CENTRED_DEG = 0.02
"""A hand brings the bubble no nearer to the middle."""


def bring_to(machine: Machine, mover: Mover, to_deg: float) -> Task[None]:
    """Ask for the board at an inclination and wait until it stands there by itself."""
    machine.enter("placing")
    live = machine.live
    live.hold_deg = to_deg
    if to_deg <= 0.0:
        live.wants = "Lay the board flat on its rest, hands off, then press start."
    else:
        live.wants = (
            f"Raise the board to {to_deg:.1f}°, prop it so that it stands by itself, hands off,"
            " then press start."
        )
    yield from wait_for_start(mover, machine.inputs, mover.time_s() + WAIT_S, WAIT_S)
    live.wants, live.hold_deg = "", None


class HandLevelProcedure(LevelProcedure):
    """As `LevelProcedure`, on a machine without a motor."""

    def _home(self) -> Task[None]:
        yield from bring_to(self._machine, self._mover, 0.0)

    def _go(self, to_angle_deg: float) -> Task[None]:
        yield from bring_to(self._machine, self._mover, to_angle_deg)

    def _span(self, point: SpanPoint, zero: Zero) -> Task[Span]:
        machine, person, plan = self._machine, self._person, self._plan
        yield from self._go(point.angle_deg)
        if plan.reference == "sine-bar":
            yield from self._centre(point)
        rest = yield from steady_rest(machine, self._mover, name_of(point))
        turned_deg = _turned_deg(zero.rest, rest)
        if plan.reference == "sine-bar":
            reading = plan.bar(point).null(zero.along, point.turned, plan.u_null_deg)
        else:
            reading = self._digital(point, zero, turned_deg)
        if abs(reading.along_deg - turned_deg) > SENSOR_TO_STEPS_DEG:
            raise BadInputError(
                f"The reading at {name_of(point)!r} is {reading.along_deg:.1f}°, and the sensor"
                f" turned by {turned_deg:.1f}° since the zero: check the reading, its unit, and the"
                " sensor's screws, then resume with `rig level`."
            )
        across = person.across_deg(point)
        return Span(rest=rest, reading=reading, across_deg=across, direction=point.direction)

    def _digital(self, point: SpanPoint, zero: Zero, turned_deg: float) -> ReferenceReading:
        return digital_reading(
            self._person.shown_deg(point, turned_deg),
            own_error=zero.along,
            turned=point.turned,
            stated_error_deg=self._plan.stated_error_deg,
            resolution_deg=self._plan.resolution_deg,
        )

    def _centre(self, point: SpanPoint) -> Task[None]:
        """Let the person bring the bubble to the middle, by corrections in degrees."""
        at_deg, bar = point.angle_deg, self._plan.bar(point)
        for _ in range(MAX_NUDGES):
            off = self._person.bubble_deg(bar, point, at_deg)
            if abs(off) < CENTRED_DEG:
                return
            if abs(off) > MAX_NUDGE_DEG:
                break
            at_deg += off
            yield from self._go(at_deg)
        raise BadInputError(
            f"The bubble at {name_of(point)!r} was not centred; check the bar and its block"
            f" ({bar.height_mm:g} mm), then resume with `rig level`."
        )

    def _finish(self, progress: LevelProgress) -> Task[tuple[Path, Calibration]]:
        machine = self._machine
        yield from self._home()
        progress.home = yield from steady_rest(machine, self._mover, "home")
        save_progress(self._path, progress)
        if self._plan.sweep:
            fitted = finish(progress, machine)
            progress.sweep = yield from hand_sweep(machine, self._mover, fitted)
            save_progress(self._path, progress)
            machine.enter("placing")
        if self._plan.second_temperature:
            yield from self._optional(progress).second_temperature()
        calibration = finish(progress, machine)
        note = "Raised by hand: no sweep was made, the filter's delay is that of the settings."
        if progress.sweep is not None:
            note = progress.sweep.told
        calibration = msgspec.structs.replace(calibration, notes=(*calibration.notes, note))
        machine.enter("parked")
        return self._save(calibration)


def _turned_deg(first: Rest, last: Rest) -> float:
    """By how much gravity turned in the sensor's frame, before any calibration."""
    a, b = np.array(first.counts), np.array(last.counts)
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))
