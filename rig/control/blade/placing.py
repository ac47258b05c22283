"""Place the bag with the blade, verify it by the beam, and retry if needed."""

from math import hypot, sqrt
from typing import Any, Literal, NamedTuple

from rig.clock import Task
from rig.control.blade.axis import BladeAxis, Push
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.control.placing import HandPlacing, Placed, Placing, is_beam_broken, wait_for_start
from rig.control.request import RunRequest
from rig.devices.inputs import Edge
from rig.errors import MachineFaultError

SETTLE_S = 0.5
"""Settling time after blade or board has moved; then the bag must be out of the beam."""
TO_CATCH_S = 0.6
"""Upper bound of the time from clearing the beam to reaching the catch."""
MISSING_SHARE = 0.3
"""Below this share of the bag's length only the blade passed the beam."""


class _Trouble(NamedTuple):
    """Reason why a push does not count."""

    what: str
    must_come_down: bool
    """Whether the bag must return to the catch before another push."""


class BladePlacing:
    """Placing by the blade; a person is asked only the first time.

    Args:
        machine: opened, its blade fitted.
        is_ready: the bag is in place and nobody is near, so the first run does not wait for start.
    """

    kind: Literal["hand", "blade"] = "blade"

    def __init__(self, machine: Machine, *, is_ready: bool = False) -> None:
        self._machine = machine
        self._axis = BladeAxis(machine)
        self._is_ready = is_ready

    def place(self, mover: Mover, request: RunRequest) -> Task[Placed]:
        """See `Placing.place`.

        Raises:
            StoppedError: a stop was requested, or nobody pressed start.
            MachineFaultError: `bag_missing`, `bag_not_placed`, one of the blade, or any other.
        """
        if not self._is_ready:
            yield from self._wait_for_person(mover)
            self._is_ready = True
        tries = self._machine.settings.blade.tries
        yield from self._axis.park(mover)
        measured_mm: float | None = None
        trouble: _Trouble | None = None
        for n in range(1, tries + 1):
            if trouble is not None and trouble.must_come_down:
                yield from self._bring_down(mover)
            push = yield from self._axis.push(mover)
            length_mm = self._length_mm(push)
            measured_mm = measured_mm if length_mm is None else length_mm
            trouble = _wrong_length(measured_mm, request, self._tolerance_mm)
            if trouble is None:
                trouble = yield from self._settle(mover, push)
            mover.note(
                "blade_passed",
                clear_steps=push.clear,
                back_steps=push.back,
                top_steps=push.top,
                bag_length_mm=length_mm,
                trouble=None if trouble is None else trouble.what,
            )
            if trouble is None:
                return self._placed(push, measured_mm, n)
            if trouble.must_come_down:
                measured_mm = None
        assert trouble is not None  # noqa: S101 - at least one push was made
        raise MachineFaultError("bag_not_placed", f"After {tries} pushes: {trouble.what}.")

    @property
    def _tolerance_mm(self) -> float:
        return self._machine.settings.blade.bag_tolerance_mm

    def _wait_for_person(self, mover: Mover) -> Task[None]:
        timeout_s = self._machine.settings.cycle.placing_timeout_s
        mover.ask("Lay the bag against the blade, keep your hands off the board, then press start.")
        deadline_s = mover.time_s() + timeout_s
        yield from wait_for_start(mover, self._machine.inputs, deadline_s, timeout_s)
        mover.ask("")

    def _length_mm(self, push: Push) -> float | None:
        """Length of the object on the blade, from the count at which it broke the beam."""
        if push.first_break is None:
            return None
        way_mm = (push.place - push.first_break) / self._axis.per_mm
        return round(way_mm - self._machine.settings.blade.thickness_mm, 2)

    def _settle(self, mover: Mover, push: Push) -> Task[_Trouble | None]:
        """Check the beam after the blade has left, tilt if set, check again."""
        machine = self._machine
        in_beam = _Trouble("the bag sprang back into the beam", must_come_down=False)
        yield from mover.wait_s(SETTLE_S)
        if is_beam_broken(machine.inputs):
            return in_beam
        self._axis.check_place(push)
        settle_deg = machine.settings.blade.settle_deg
        if settle_deg > 0.0:
            home_deg, rate = machine.settings.linkage.home_angle_deg, self._rate_deg_s
            yield from mover.move(machine.plan(home_deg + settle_deg, rate))
            yield from mover.move(machine.plan(home_deg, rate))
            machine.stepper.disable()
            yield from mover.wait_s(SETTLE_S)
        return in_beam if is_beam_broken(machine.inputs) else None

    @property
    def _rate_deg_s(self) -> float:
        return self._machine.settings.motion.rate_deg_s

    def _bring_down(self, mover: Mover) -> Task[None]:
        """Let the bag slide to the catch, which also straightens it, and level the board again.

        Raises:
            MachineFaultError: `bag_missing`: none passed the beam up to the soft limit.
        """
        machine = self._machine
        linkage = machine.settings.linkage
        last = f"beam_{machine.inputs.beams}"
        cleared_s: list[float] = []

        def look(item: Any) -> None:
            if isinstance(item, Edge) and item.name == last and not item.active:
                cleared_s.append(item.t_s)
            if cleared_s and mover.time_s() > cleared_s[-1] + TO_CATCH_S:
                machine.stepper.request_stop("brake")

        yield from mover.move(machine.plan(linkage.soft_limit_deg, self._rate_deg_s), look)
        yield from mover.move(machine.plan(linkage.home_angle_deg, machine.lowering_rate_deg_s))
        machine.stepper.disable()
        if cleared_s:
            mover.brought_down += 1
            mover.note("bag_brought_down")
        else:
            raise MachineFaultError(
                "bag_missing",
                "The blade met no bag, and none passed the beam although the board was raised to"
                f" {linkage.soft_limit_deg:g}°.",
            )

    def _placed(self, push: Push, measured_mm: float | None, tries: int) -> Placed:
        blade, per_mm = self._machine.settings.blade, self._axis.per_mm
        difference_mm = (push.clear - push.back) / per_mm
        gap_mm = blade.thickness_mm + (push.top - push.place) / per_mm - blade.springback_mm
        # The true value lies anywhere between both passages: a rectangular distribution.
        u_gap_mm = hypot(
            blade.u_thickness_mm, blade.u_springback_mm, difference_mm / sqrt(12.0), 1.0 / per_mm
        )
        return Placed(
            round(gap_mm, 3),
            round(u_gap_mm, 3),
            blade_steps=push.clear,
            tries=tries,
            pushes=tries,
            beam_steps=push.place,
            beam_hysteresis_steps=push.clear - push.back,
            pushed_length_mm=measured_mm,
        )


def _wrong_length(
    length_mm: float | None, request: RunRequest, tolerance_mm: float
) -> _Trouble | None:
    wanted_mm = request.bag_length_mm
    if length_mm is None:
        return _Trouble("the beam was broken before the push", must_come_down=True)
    if length_mm < MISSING_SHARE * wanted_mm:
        return _Trouble("the blade met no bag below the beam", must_come_down=True)
    if abs(length_mm - wanted_mm) > tolerance_mm:
        shape = "folded or piled up" if length_mm < wanted_mm else "askew, or not alone"
        return _Trouble(
            f"the bag is {length_mm:.0f} mm long on the blade and should be {wanted_mm:.0f} mm:"
            f" {shape}",
            must_come_down=True,
        )
    return None


def placing_for(machine: Machine, *, is_ready: bool) -> Placing:
    """Choose the blade where one is fitted, else a person.

    Args:
        machine: opened.
        is_ready: the bag is in place, so the first run does not wait for start.
    """
    if machine.has_blade:
        return BladePlacing(machine, is_ready=is_ready)
    return HandPlacing(machine.inputs, machine.settings.cycle.placing_timeout_s, is_ready=is_ready)
