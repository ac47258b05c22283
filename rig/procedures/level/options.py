"""Optional steps of a calibration: six positions of the sensor, home at a second temperature."""

from collections.abc import Callable

import numpy as np

from rig.calibration.captures import Rest
from rig.calibration.plan import WAYS, LevelPlan, Way
from rig.calibration.six_position import MIN_WARMTH_K, NEAR_AXIS
from rig.clock import Task
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.errors import BadInputError, MachineFaultError
from rig.procedures.level.person import LevelPerson
from rig.procedures.level.progress import LevelProgress
from rig.procedures.level.steadiness import steady_rest

LOOK_S = 5.0
SETTLED_K = 0.2
"""Largest difference of consecutive readings once the sensor has settled at a temperature."""
PATIENCE_S = 4 * 3600.0

Keep = Callable[[str, str], bool]
"""Shows a step and its result; True keeps it, False repeats it."""


def position_name(way: Way) -> str:
    """Name of a position as a step."""
    return f"six {way}"


class OptionalSteps:
    """Guides through the steps of `plan` beyond zero and span.

    Args:
        machine: opened and homed.
        mover: waits under the interlocks.
        person: turns the sensor, warms it.
        progress: captures so far; extended.
        keep: asks whether a step is kept.
        save: syncs the progress to the disk.
    """

    def __init__(
        self,
        machine: Machine,
        mover: Mover,
        person: LevelPerson,
        progress: LevelProgress,
        keep: Keep,
        save: Callable[[], None],
    ) -> None:
        self._machine, self._mover, self._person = machine, mover, person
        self._progress, self._keep, self._save = progress, keep, save

    def six(self) -> Task[None]:
        """Task: each axis up and down; before zero, since the sensor must come off its board."""
        positions = self._progress.positions
        todo = [way for way in WAYS if position_name(way) not in positions]
        with self._machine.sensor_in_hand():
            for way in todo:
                yield from self._position(way)
            if todo:
                self._person.screw_on()
                yield from steady_rest(self._machine, self._mover, "sensor back on its board")

    def _position(self, way: Way) -> Task[None]:
        name, positions = position_name(way), self._progress.positions
        while name not in positions:
            rest = self._person.position(way)
            if rest is None:
                rest = yield from steady_rest(self._machine, self._mover, name)
            size = self._check_way(rest, way)
            if self._keep(name, f"{size:.3f} g along {way[1]}"):
                positions[name] = rest
                self._save()

    def _check_way(self, rest: Rest, way: Way) -> float:
        """Check that the position's own axis carries gravity, with the right sign."""
        raw = np.array(rest.counts) / self._machine.imu.counts_per_g
        along = float(raw["xyz".index(way[1])]) * (1.0 if way[0] == "+" else -1.0)
        if along < NEAR_AXIS:
            top = int(np.argmax(np.abs(raw)))
            up = f"{'+' if raw[top] > 0 else '-'}{'xyz'[top]}"
            raise BadInputError(
                f"In the position {way!r} the sensor's {up} side faces up; hold it with"
                f" {way} up and resume with `rig level --six`."
            )
        return along

    def second_temperature(self) -> Task[None]:
        """Task: capture home now and, untouched, at another temperature, for the bias drift."""
        progress, machine = self._progress, self._machine
        if progress.cold is None:
            progress.cold = yield from steady_rest(machine, self._mover, "home, first temperature")
            self._save()
        first_c = progress.cold.temperature_c
        while progress.warm is None:
            warm = self._person.warmed(first_c)
            if warm is None:
                yield from self._wait_for_warmth(first_c)
                warm = yield from steady_rest(machine, self._mover, "home, second temperature")
            if self._keep("warm", f"{warm.temperature_c:.1f} °C after {first_c:.1f} °C"):
                progress.warm = warm
                self._save()

    def _wait_for_warmth(self, first_c: float) -> Task[None]:
        machine, before = self._machine, float("nan")
        deadline = machine.clock.time_s() + PATIENCE_S
        while True:
            yield from self._mover.wait_s(LOOK_S)
            now_c = machine.live.imu_temperature_c
            if now_c is not None:
                if abs(now_c - first_c) >= MIN_WARMTH_K and abs(now_c - before) <= SETTLED_K:
                    return
                machine.live.wants = (
                    f"Waiting for the sensor to settle {MIN_WARMTH_K:g} K or more away from"
                    f" {first_c:.1f} °C: {now_c:.1f} °C now."
                )
                before = now_c
            if machine.clock.time_s() > deadline:
                raise MachineFaultError(
                    "not_warmed",
                    f"The sensor has not settled at another temperature within"
                    f" {PATIENCE_S / 3600.0:g} h.",
                )


def forget_from(progress: LevelProgress, step: str, plan: LevelPlan) -> bool:
    """Discard an optional step and all that depends on it, so that it is repeated.

    A sensor taken off its board loses its zero. Returns False for a step of another kind.
    """
    if step == "warm" and plan.second_temperature:
        progress.cold = progress.warm = None
        return True
    if plan.six and progress.positions.pop(step, None) is not None:
        progress.zero, progress.cold, progress.warm = None, None, None
        progress.span.clear()
        return True
    return False
