"""The blade's motor and its reference: park, push the bag through the beam, measure there.

The blade has no encoder. The beam takes its place: on the way up the blade's back face clears the
beam, on the way back it breaks it again, and both must happen where they should.
"""

from collections.abc import Callable
from typing import NamedTuple

from rig.clock import Task
from rig.control.blade.plan import BladePlan, plan_blade
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.devices.inputs import Edge
from rig.devices.stepper import Stepper
from rig.errors import MachineFaultError
from rig.settings.checks import BLADE_MARGIN_MM, blade_pulses_per_mm, blade_stop_mm

FIRST_TOLERANCE_MM = 10.0
"""Tolerance of the beam's position against the settings, first passage."""
LATER_TOLERANCE_MM = 2.0
"""Tolerance of the beam's position against the previous passage."""
HYSTERESIS_MM = 1.5
"""Tolerance of the beam's position between both ways; beyond it steps were lost."""
LEFT_MM = 10.0
"""Distance from the park position, by steps, at which the park switch must be closed."""
REST_S = 0.5
"""Pause between push and return, for the fill to settle."""
PARK_NEAR_MM = 8.0
PARK_SPEED_MM_S = 5.0
PARK_OVERRUN_MM = 5.0

assert FIRST_TOLERANCE_MM < BLADE_MARGIN_MM  # noqa: S101 - the way is checked with the settings


class Push(NamedTuple):
    """Measurements of one passage of the blade; counts are steps uphill of the park position."""

    top: int
    """Turning point of the blade."""
    clear: int
    """Count at which its back face cleared the beam on the way up."""
    back: int
    """Count at which its back face, or something else, broke the beam on the way back."""
    first_break: int | None
    """Count at which the beam was first broken on the way up; None: it was broken before."""

    @property
    def place(self) -> float:
        """Position of the beam for the blade's back face: the mean of both ways."""
        return 0.5 * (self.clear + self.back)


class BladeAxis:
    """The blade of an opened machine, with the board level.

    Args:
        machine: opened, its blade fitted.
    """

    def __init__(self, machine: Machine) -> None:
        assert machine.blade is not None  # noqa: S101 - only made for a machine that has one
        self.per_mm = blade_pulses_per_mm(machine.settings)
        """Step pulses per mm."""
        self._machine = machine
        self._stepper: Stepper = machine.blade
        self._settings = machine.settings
        settings = machine.settings
        place_mm = settings.beam.position_mm + settings.blade.thickness_mm - settings.board.catch_mm
        self._expected = place_mm * self.per_mm
        self._tolerance_mm = FIRST_TOLERANCE_MM
        self._is_found = False
        """Whether the count is known from the park switch."""

    def park(self, mover: Mover) -> Task[None]:
        """Move the blade to its park position and switch its driver off.

        Count 0 is where the park switch opens or, without a switch, where the blade stood when the
        rig was opened.
        """
        stepper = self._stepper
        if self._machine.inputs.has_park_switch:
            yield from self._find_switch(mover)
            stepper.count, self._is_found = 0, True
        else:
            yield from self._go(mover, 0)
        stepper.disable()

    def _find_switch(self, mover: Mover) -> Task[None]:
        """Approach the switch by steps, then slowly; the first time slowly all the way."""
        stepper = self._stepper
        near = round(PARK_NEAR_MM * self.per_mm)
        if stepper.count > near and (self._is_found or not self._is_parked()):
            yield from self._go(mover, near, until_parked=not self._is_found)
            if self._is_found and self._is_parked():
                raise MachineFaultError(
                    "blade_park",
                    f"The blade's park switch is open {PARK_NEAR_MM:g} mm before its place by the"
                    " steps.",
                )
        if not self._is_parked():
            way_mm = PARK_NEAR_MM + PARK_OVERRUN_MM
            if not self._is_found:
                way_mm += self._settings.blade.travel_mm
            low = min(stepper.count, near) - round(self.per_mm * way_mm)
            yield from self._go(mover, low, PARK_SPEED_MM_S, until_parked=True)
        if not self._is_parked():
            raise MachineFaultError("blade_park", "The blade's park switch did not open.")

    def _is_parked(self) -> bool:
        return self._machine.inputs.blade_parked

    def try_out(self, mover: Mover, way_mm: float) -> Task[float | None]:
        """Park, move a little uphill, and park again.

        Args:
            mover: moves it.
            way_mm: distance uphill; must exceed `LEFT_MM` to see the blade leave the switch.

        Returns:
            Offset of the park switch uphill of its expected position, in mm; None without one.

        Raises:
            StoppedError: a stop was requested.
            MachineFaultError: `blade_park`, or any other interlock.
        """
        yield from self.park(mover)
        yield from self._go(mover, round(way_mm * self.per_mm), follow=self._leaving())
        if not self._machine.inputs.has_park_switch:
            yield from self.park(mover)
            return None
        yield from self._find_switch(mover)
        off_mm = self._stepper.count / self.per_mm
        yield from self.park(mover)
        return off_mm

    def _leaving(self) -> Callable[[], None]:
        """Callback during a move uphill from the park position; checks the switch once."""
        has_left = not self._machine.inputs.has_park_switch

        def follow() -> None:
            nonlocal has_left
            if has_left or self._stepper.count <= LEFT_MM * self.per_mm:
                return
            has_left = True
            if self._is_parked():
                raise MachineFaultError(
                    "blade_park",
                    f"The blade's park switch is still open {LEFT_MM:g} mm uphill of its place by"
                    " the steps: the blade did not move, moved downhill, or the switch's wire is"
                    " broken.",
                )

        return follow

    def push(self, mover: Mover) -> Task[Push]:
        """Push the bag uphill until the blade's back face is past the beam, then return.

        Raises:
            StoppedError: a stop was requested.
            MachineFaultError: `blade_unseen`, `blade_stalled`, `blade_lost`, `blade_park`, or any
                other interlock.
        """
        mover.pushes += 1
        mover.note("blade_push")
        clear, first_break = yield from self._up_to_clear(mover)
        top = clear + round(self._settings.blade.overshoot_mm * self.per_mm)
        yield from self._go(mover, top)
        yield from mover.wait_s(REST_S)
        back = yield from self._go_back(mover)
        return Push(top, clear, back, first_break)

    def check_place(self, push: Push) -> None:
        """Compare both ways through a beam with nothing else in it.

        Raises:
            MachineFaultError: `blade_lost`.
        """
        difference_mm = (push.clear - push.back) / self.per_mm
        if abs(difference_mm) > HYSTERESIS_MM:
            raise MachineFaultError(
                "blade_lost",
                f"The blade met the beam {difference_mm:+.1f} mm away from where it had left it"
                f" (allowed {HYSTERESIS_MM:g} mm): steps were lost.",
            )
        self._expected, self._tolerance_mm = push.clear, LATER_TOLERANCE_MM

    def _up_to_clear(self, mover: Mover) -> Task[tuple[int, int | None]]:
        inputs, stepper = self._machine.inputs, self._stepper
        tolerance = self._tolerance_mm * self.per_mm
        reach_mm = self._tolerance_mm + blade_stop_mm(self._settings)
        far = round(self._expected + reach_mm * self.per_mm)
        was_broken = inputs.beam_broken(1)
        breaks: list[int] = []
        clears: list[int] = []

        def look(count: int, broken: bool) -> None:
            (breaks if broken else clears).append(count)
            if not broken and abs(count - self._expected) <= tolerance:
                stepper.request_stop("brake")

        yield from self._go(mover, far, look=look, follow=self._leaving())
        if clears and abs(clears[-1] - self._expected) <= tolerance:
            return clears[-1], None if was_broken else breaks[0]
        place_mm = self._expected / self.per_mm
        if clears:
            raise MachineFaultError(
                "blade_lost",
                f"The blade cleared the beam {clears[-1] / self.per_mm:.1f} mm from its park"
                f" position; that should be at {place_mm:.1f} mm.",
            )
        if breaks or was_broken:
            raise MachineFaultError(
                "blade_stalled",
                f"The beam is still broken {self._tolerance_mm:g} mm beyond the place at"
                f" {place_mm:.1f} mm where the blade should clear it.",
            )
        raise MachineFaultError(
            "blade_unseen",
            f"The blade was driven {far / self.per_mm:.0f} mm uphill and the beam saw nothing.",
        )

    def _go_back(self, mover: Mover) -> Task[int]:
        """Return to the park position; returns the count at which the beam was first broken."""
        breaks: list[int] = []

        def look(count: int, broken: bool) -> None:
            if broken:
                breaks.append(count)

        if self._machine.inputs.beam_broken(1):
            breaks.append(self._stepper.count)
        below = self._expected - self.per_mm * (self._settings.blade.thickness_mm + PARK_NEAR_MM)
        yield from self._go(mover, max(0, round(below)), look=look)
        if not breaks:
            # It may be moving uphill with the bag instead: make no further step.
            raise MachineFaultError(
                "blade_unseen", "The beam did not see the blade on its way back."
            )
        yield from self.park(mover)
        return breaks[0]

    def _go(
        self,
        mover: Mover,
        to_count: int,
        speed_mm_s: float | None = None,
        *,
        look: Callable[[int, bool], None] = lambda *_: None,
        until_parked: bool = False,
        follow: Callable[[], None] = lambda: None,
    ) -> Task[None]:
        """Move to a count; with `until_parked` only as far as the park switch.

        `look` gets the count at each edge of the upper beam; `follow` is called throughout.
        """
        stepper = self._stepper
        plan: BladePlan = plan_blade(self._settings, stepper.count, to_count, speed_mm_s)
        late_s = self._settings.beam.response_ms * 1e-3

        def on_event(item: object) -> None:
            if isinstance(item, Edge) and item.name == "beam_1":
                look(plan.count_at(stepper.latest, item.t_s - late_s), item.active)
            if until_parked and self._is_parked():
                stepper.request_stop("cut")
            follow()

        yield from mover.move(plan, on_event, stepper)
