"""The guided calibration of the angle sensor against a level.

Home, zero with the level turned, span points up and down, unloaded sweeps, fit, file. Captures are
on the disk after each step, so a person can repeat a step, or stop and resume later.
"""

from pathlib import Path

import numpy as np

from rig.calibration.captures import Rest, Span, Zero, check_angles
from rig.calibration.model import Calibration
from rig.calibration.plan import LevelPlan, SpanPoint
from rig.calibration.reference import (
    ReferenceReading,
    check_against_steps,
    digital_reading,
    turned_level,
)
from rig.clock import At, Task
from rig.control.homing import home
from rig.control.machine import Machine
from rig.control.mover import Mover, StoppedError
from rig.errors import BadInputError, MachineFaultError
from rig.files.stamps import utc_text
from rig.procedures.level.finish import finish
from rig.procedures.level.options import OptionalSteps, forget_from
from rig.procedures.level.person import LevelPerson, Where
from rig.procedures.level.progress import (
    NAME,
    LevelProgress,
    load_progress,
    save_progress,
)
from rig.procedures.level.steadiness import steady_rest
from rig.procedures.level.sweep import sweep_findings
from rig.procedures.runs import FIRST_LOOK_S, start_watching

RATE_DEG_S = 1.0
TAKE_UP_DEG = 0.6
"""Approach distance on each point's own side, to take up the screw's play."""
MAX_NUDGES = 15
MAX_NUDGE_DEG = 3.0
SENSOR_TO_STEPS_DEG = 3.5
"""Largest difference between turn of gravity and turn by steps before calibration."""


class StoppedLevelError(StoppedError):
    """The person stopped; captures are kept."""


class LevelProcedure:
    """Calibrates the sensor of an opened machine.

    Args:
        machine: opened; nothing may be watching it yet.
        person: reads the reference.
        plan: of the calibration.
        folder: for the progress file and the calibration.
        fresh: discard earlier captures.
        redo: name of a step to repeat ("zero", "up 20", …).
    """

    def __init__(
        self,
        machine: Machine,
        person: LevelPerson,
        plan: LevelPlan,
        folder: Path,
        *,
        fresh: bool = False,
        redo: str | None = None,
    ) -> None:
        self._machine = machine
        self._person = person
        self._plan = plan
        self._path = folder / NAME
        self._mover = Mover(machine)
        self._fresh = fresh
        self._redo = redo

    def run(self) -> Task[tuple[Path, Calibration]]:
        """Task: make the calibration; returns its file and its values.

        Raises:
            StoppedError: a person stopped it; it can be resumed.
            BadInputError, MachineFaultError: calibration is not possible.
        """
        machine = self._machine
        progress = self._begin()
        # The old calibration may be the faulty part: it must not stop the moves.
        machine.calibration, machine.live.angle_deg = None, None
        watchers = start_watching(machine)
        try:
            yield At(machine.clock.time_s() + FIRST_LOOK_S)
            yield from self._home()
            if self._plan.six:
                yield from self._optional(progress).six()
            yield from self._captures(progress)
            made = yield from self._finish(progress)
        finally:
            machine.stepper.disable()
            for watcher in watchers:
                watcher.cancel()
        return made

    def _begin(self) -> LevelProgress:
        points = self._plan.points()
        check_angles([p.angle_deg for p in points], [p.direction for p in points])
        machine, progress = self._machine, None if self._fresh else load_progress(self._path)
        if progress is not None and progress.sensor != machine.imu.identity:
            raise BadInputError(
                f"{self._path} was begun with another sensor ({progress.sensor.identity}); start"
                " again with `rig level --fresh`."
            )
        if progress is None:
            now = utc_text(machine.clock.utc_now())
            progress = LevelProgress(sensor=machine.imu.identity, started_at=now, plan=self._plan)
        if self._redo == "zero":
            progress.zero = None
        elif self._redo is not None and not self._forgets(progress, self._redo):
            steps = ", ".join(["zero", *(name_of(point) for point in self._plan.points())])
            raise BadInputError(f"There is no step {self._redo!r} to repeat; steps: {steps}.")
        progress.plan = self._plan
        return progress

    def _forgets(self, progress: LevelProgress, step: str) -> bool:
        known = progress.span.pop(step, None) is not None
        return known or forget_from(progress, step, self._plan)

    def _optional(self, progress: LevelProgress) -> OptionalSteps:
        def save() -> None:
            save_progress(self._path, progress)

        return OptionalSteps(self._machine, self._mover, self._person, progress, self._keep, save)

    def _captures(self, progress: LevelProgress) -> Task[None]:
        while progress.zero is None:
            zero = yield from self._zero()
            found = (
                f"slope {zero.along.slope_deg:+.3f}° along, {zero.across.slope_deg:+.3f}° across;"
                f" the level's own error is {zero.along.own_error_deg:+.3f}°"
            )
            if self._keep("zero", found):
                progress.zero = zero
                save_progress(self._path, progress)
        for point in self._plan.points():
            name = name_of(point)
            while name not in progress.span:
                span = yield from self._span(point, progress.zero)
                found = f"{span.reading.along_deg:.3f}° by {span.reading.reference}"
                if self._keep(name, found):
                    progress.span[name] = span
                    save_progress(self._path, progress)

    def _keep(self, step: str, found: str) -> bool:
        answer = self._person.go_on(step, found)
        if answer == "stop":
            raise StoppedLevelError(f"Stopped before {step!r} was kept; `rig level` resumes there.")
        return answer == "on"

    # -- steps ----------------------------------------------------------------------------------

    def _home(self) -> Task[None]:
        self._machine.enter("homing")
        yield from home(self._mover, self._machine)
        self._machine.stepper.disable()
        self._machine.enter("placing")

    def _go(self, to_angle_deg: float) -> Task[None]:
        machine = self._machine
        linkage = machine.settings.linkage
        low = min(0.0, linkage.home_angle_deg)
        if not low - 0.01 <= to_angle_deg <= linkage.soft_limit_deg:
            raise BadInputError(
                f"The board can't move to {to_angle_deg:.1f}°: it moves from {low:g}° to"
                f" {linkage.soft_limit_deg:g}°."
            )
        up = to_angle_deg > machine.step_angle_deg()
        machine.enter("raising" if up else "lowering")
        yield from self._mover.move(machine.plan(to_angle_deg, RATE_DEG_S))
        machine.enter("placing")

    def _zero(self) -> Task[Zero]:
        yield from self._go(max(0.0, self._machine.settings.linkage.home_angle_deg))
        rest = yield from steady_rest(self._machine, self._mover, "zero")
        found = []
        wheres: tuple[Where, ...] = ("along", "across")
        for where in wheres:
            first, turned = (self._person.level_deg(where, way) for way in (False, True))
            resolution = self._plan.resolution_deg
            found.append(turned_level(first, turned, resolution_deg=resolution, where=where))
        return Zero(rest=rest, along=found[0], across=found[1])

    def _span(self, point: SpanPoint, zero: Zero) -> Task[Span]:
        machine, person = self._machine, self._person
        side = -TAKE_UP_DEG if point.direction == "up" else TAKE_UP_DEG
        yield from self._go(point.angle_deg + side)
        yield from self._go(point.angle_deg)
        if self._plan.reference == "sine-bar":
            yield from self._centre(point)
        rest = yield from steady_rest(machine, self._mover, name_of(point))
        self._check_turn(zero.rest, rest)
        steps_deg = machine.step_angle_deg()
        if self._plan.reference == "sine-bar":
            bar = self._plan.bar(point)
            reading = bar.null(zero.along, point.turned, self._plan.u_null_deg)
        else:
            reading = self._shown(point, zero, steps_deg)
        check_against_steps(reading.along_deg, steps_deg, f"The reading at {name_of(point)!r}")
        across = person.across_deg(point)
        return Span(rest=rest, reading=reading, across_deg=across, direction=point.direction)

    def _shown(self, point: SpanPoint, zero: Zero, steps_deg: float) -> ReferenceReading:
        shown = self._person.shown_deg(point, steps_deg)
        check_against_steps(shown, steps_deg, f"The reading at {name_of(point)!r}")
        return digital_reading(
            shown,
            own_error=zero.along,
            turned=point.turned,
            stated_error_deg=self._plan.stated_error_deg,
            resolution_deg=self._plan.resolution_deg,
        )

    def _centre(self, point: SpanPoint) -> Task[None]:
        """Move by the person's corrections until the bubble is centred."""
        machine, bar = self._machine, self._plan.bar(point)
        for _ in range(MAX_NUDGES):
            steps_deg = machine.step_angle_deg()
            off = self._person.bubble_deg(bar, point, steps_deg)
            if abs(off) < abs(float(machine.linkage.deg_per_pulse(steps_deg))):
                return
            if abs(off) > MAX_NUDGE_DEG:
                raise BadInputError(
                    f"The bubble at {name_of(point)!r} is given as {off:+.1f}° off, more than"
                    f" {MAX_NUDGE_DEG:g}°: check bar, block ({bar.height_mm:g} mm) and unit."
                )
            yield from self._go(steps_deg + off)
        raise BadInputError(
            f"The bubble at {name_of(point)!r} was not centred after {MAX_NUDGES} moves; check that"
            " the bar stands firm, then resume with `rig level`."
        )

    def _check_turn(self, zero: Rest, now: Rest) -> None:
        """Check that the sensor turned about as far as the steps, or else it is not mounted."""
        first, last = np.array(zero.counts), np.array(now.counts)
        sine, cosine = np.linalg.norm(np.cross(first, last)), first @ last
        turned = float(np.degrees(np.arctan2(sine, cosine)))
        home_deg = max(0.0, self._machine.settings.linkage.home_angle_deg)
        by_steps = self._machine.step_angle_deg() - home_deg
        if abs(turned - by_steps) > SENSOR_TO_STEPS_DEG:
            raise MachineFaultError(
                "angle_mismatch",
                f"The sensor turned by {turned:.1f}° and the steps by {by_steps:.1f}°.",
            )

    def _finish(self, progress: LevelProgress) -> Task[tuple[Path, Calibration]]:
        machine = self._machine
        yield from self._home()
        progress.home = yield from steady_rest(machine, self._mover, "home")
        if self._plan.sweep:
            fitted = finish(progress, machine)
            progress.sweep = yield from sweep_findings(machine, self._mover, fitted)
        save_progress(self._path, progress)
        if self._plan.second_temperature:
            if self._plan.sweep:
                yield from self._home()
            yield from self._optional(progress).second_temperature()
        calibration = finish(progress, machine)
        yield from self._go(max(0.3, machine.settings.linkage.home_angle_deg + 0.3))
        machine.enter("parked")
        return self._save(calibration)

    def _save(self, calibration: Calibration) -> tuple[Path, Calibration]:
        from rig.calibration.file import save_calibration

        stamp = calibration.made_at.replace(":", "").replace("-", "")
        path = self._path.parent / f"{stamp}.json"
        save_calibration(path, calibration)
        self._path.replace(path.with_suffix(".captures"))
        self._machine.calibration = calibration
        return path, calibration


def name_of(point: SpanPoint) -> str:
    """Name of a span step: direction and angle."""
    return f"{point.direction} {point.angle_deg:g}"
