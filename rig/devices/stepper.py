"""The stepper driver: step, direction and enable lines, and the train of pulses.

Each pulse has an absolute deadline, so that a late one does not delay the rest. After a late one
the train catches up at no more than 1.5 times its own rate and never closer than the settings'
shortest gap: pulses in a bunch would be lost by the motor. A pulse is as wide as the two calls of
the pin library that make it, which takes tens of microseconds on a Pi; drivers ask for 2 µs.
"""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Literal, NamedTuple, Protocol, Self

import numpy as np
from gpiozero import DigitalOutputDevice, Factory
from numpy.typing import NDArray

from rig.clock import At, Clock, QuietCollector, RealClock, Task
from rig.errors import MachineFaultError
from rig.settings.model import Pins, Screw

LATE_S = 500e-6
"""Lateness from which a pulse counts as late."""

CATCH_UP = 2 / 3
"""After a late pulse the gaps shrink to this part of the planned ones, until it is caught up."""

SETTLE_S = 0.02
"""A driver holds the motor this long after it was enabled."""

SET_UP_S = 1e-3
"""From the change of the direction line to the start of the move."""

BRAKE_NOTICE_S = 0.02
"""Delay of a smooth stop after its request, to compute its pulses."""

SWITCH_INTERVAL_S = 100e-6
"""Longest wait of the pulse thread for another computing thread. With Python's default of 5 ms the
pulses fall behind ever further."""

PRIORITY = 50
"""Of the pulse thread, above ordinary threads and level with the kernel's own interrupts."""

EndedBy = Literal["plan", "brake", "cut", "must_stop"]
Times = NDArray[np.float64]


class PulsePlan(Protocol):
    """What the stepper needs to know of a move."""

    @property
    def direction(self) -> int:
        """+1 raises, −1 lowers."""

    @property
    def times_s(self) -> Times:
        """Time of each pulse in seconds since the start, increasing."""

    def brake(self, index: int) -> Times:
        """Times of the pulses of a smooth stop, after the first `index` pulses."""


class MoveResult(NamedTuple):
    """Result of a move."""

    pulses: int
    """Pulses made, without sign."""
    late: int
    """Pulses that came more than `LATE_S` late."""
    worst_late_us: float
    ended_by: EndedBy
    """`plan`: all pulses were made. `brake`, `cut`: a stop was asked for. `must_stop`: the level
    that is looked at before each pulse said so."""


class Stepper:
    """The motor of the screw; counts every pulse it makes.

    Args:
        clock: tells and waits for the time.
        factory: makes the pins.
        pins: which pins, and which direction raises.
        screw: gives the shortest gap between pulses.
        late_pulse_ms: a pulse later than this stops the move.
        must_stop: looked at before every pulse; no pulse follows once it is true. It reads the
            level of the emergency stop, so that a lost edge cannot hide it.
    """

    def __init__(
        self,
        clock: Clock,
        factory: Factory,
        pins: Pins,
        screw: Screw,
        *,
        late_pulse_ms: float = 20.0,
        must_stop: Callable[[], bool] = lambda: False,
    ) -> None:
        self._clock = clock
        self._factory = factory
        self._pins = pins
        self._min_gap_s = screw.min_pulse_gap_us * 1e-6
        self._bound_s = late_pulse_ms * 1e-3
        self._must_stop = must_stop
        self._devices: list[DigitalOutputDevice] = []
        self._plan: PulsePlan | None = None
        self._made = 0
        self._cut = False
        self._braking = False
        self._tail: tuple[int, Times] | None = None
        self._latest = (0.0, 0)
        self._worst_late_s = 0.0

    def open(self) -> None:
        """Claim the pins, the enable line first; the driver stays off.

        The pin library drives a claimed output low before anything else, hence an enable line
        that is active-high.
        """
        if self._devices:
            return
        try:
            for number in (self._pins.enable, self._pins.direction, self._pins.step):
                self._devices.append(DigitalOutputDevice(number, pin_factory=self._factory))
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Switch the driver off, then let go of the pins; harmless when it is closed already."""
        self._cut = True
        devices, self._devices = self._devices, []
        try:
            if devices:
                devices[0].off()
        finally:
            for device in reversed(devices):
                device.close()

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def enable(self) -> None:
        """Switch the driver on and wait until it holds the motor."""
        self._device(0).on()
        self._clock.pause_s(SETTLE_S)

    def disable(self) -> None:
        """Switch the driver off, now; no pulse of a move under way follows. Harmless if closed."""
        self._cut = True
        if self._devices:
            self._devices[0].off()

    @property
    def enabled(self) -> bool:
        """Whether the driver is on."""
        return bool(self._devices and self._devices[0].value)

    @property
    def count(self) -> int:
        """Pulses made since count 0, raising positive."""
        return self._latest[1]

    @count.setter
    def count(self, count: int) -> None:
        if self._plan is not None:
            raise RuntimeError("the count cannot be set during a move")
        self._latest = (self._clock.time_s(), count)

    @property
    def latest(self) -> tuple[float, int]:
        """Time of the latest pulse and the count after it: one pair, also from another thread."""
        return self._latest

    @property
    def moving(self) -> bool:
        """Whether a move is under way."""
        return self._plan is not None

    def take_worst_late_us(self) -> float:
        """Worst lateness of a pulse, in µs, since the last call."""
        worst, self._worst_late_s = self._worst_late_s, 0.0
        return worst * 1e6

    def request_stop(self, how: Literal["brake", "cut"]) -> None:
        """End the move under way: smoothly, or with no further pulse. Safe from any thread.

        A smooth stop begins `BRAKE_NOTICE_S` later and follows the plan's own braking; where the
        plan is about to end anyway, it just ends.
        """
        if how == "cut":
            self._cut = True
            return
        plan = self._plan
        if plan is None or self._braking:
            return
        self._braking = True
        made, times = self._made, plan.times_s
        if made < times.size:
            begin = int(times.searchsorted(times[max(made - 1, 0)] + BRAKE_NOTICE_S))
            if begin < times.size:
                self._tail = (begin, plan.brake(begin))

    def move(self, plan: PulsePlan) -> Task[MoveResult]:
        """Make the pulses of a plan.

        Returns:
            How the move went; `count` is true to the pulses made, however it ended.

        Raises:
            MachineFaultError: a pulse was later than the bound ("late_pulse").
            RuntimeError: the driver is off, or a move is under way.
        """
        if not self.enabled or self._plan is not None:
            raise RuntimeError("a move needs an enabled driver and no other move under way")
        self._device(1).value = (plan.direction > 0) == self._pins.direction_raises_high
        self._cut = self._braking = False
        self._tail, self._made = None, 0
        self._plan = plan
        try:
            with QuietCollector(), _urgent(self._clock):
                return (yield from self._train(plan, self._clock.time_s() + SET_UP_S))
        finally:
            self._plan = None

    def _train(self, plan: PulsePlan, start_s: float) -> Task[MoveResult]:
        """Loop over the pulses; everything in it runs up to 2,000 times a second."""
        pin = self._device(2).pin
        must_stop, bound_s, direction = self._must_stop, self._bound_s, plan.direction
        made, late, worst_s, earliest_s = 0, 0, 0.0, 0.0
        count = self.count
        times = plan.times_s
        ended_by: EndedBy = "plan"
        while True:
            for due_s, gap_s in self._schedule(times, start_s):
                now_s = yield At(due_s if due_s > earliest_s else earliest_s)
                if self._cut or must_stop():
                    ended_by = "cut" if self._cut else "must_stop"
                    return MoveResult(made, late, worst_s * 1e6, ended_by)
                late_s = now_s - due_s
                if late_s > LATE_S:
                    if late_s > bound_s:
                        raise _late_pulse(late_s, bound_s)
                    late += 1
                if late_s > self._worst_late_s:
                    self._worst_late_s = late_s
                if late_s > worst_s:
                    worst_s = late_s
                pin.state = True
                count += direction
                self._latest = (now_s, count)
                made += 1
                self._made = made
                pin.state = False
                earliest_s = now_s + gap_s
                if self._tail is not None and made >= self._tail[0]:
                    break
            else:
                return MoveResult(made, late, worst_s * 1e6, ended_by)
            begin, times = self._tail
            if made > begin:
                times = plan.brake(made)
            self._tail, ended_by = None, "brake"

    def _schedule(self, times_s: Times, start_s: float) -> Iterator[tuple[float, float]]:
        """Deadline of each pulse, and the shortest time from it to the next."""
        gaps_s = np.maximum(np.diff(times_s, append=np.inf) * CATCH_UP, self._min_gap_s)
        return zip((times_s + start_s).tolist(), gaps_s.tolist(), strict=True)

    def _device(self, index: int) -> DigitalOutputDevice:
        if not self._devices:
            raise RuntimeError("the stepper is not open")
        return self._devices[index]


def _late_pulse(late_s: float, bound_s: float) -> MachineFaultError:
    return MachineFaultError(
        "late_pulse",
        f"A step pulse was due {late_s * 1e3:.1f} ms ago (allowed: {bound_s * 1e3:g} ms), "
        "so the move was stopped.",
    )


@contextmanager
def _urgent(clock: Clock) -> Iterator[None]:
    """Put this thread before others while it makes pulses, where that is permitted."""
    if not isinstance(clock, RealClock):
        yield
        return
    interval_s = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    usual = _set_policy((os.SCHED_FIFO, PRIORITY)) if sys.platform == "linux" else None
    try:
        yield
    finally:
        if usual is not None:
            _set_policy(usual)
        sys.setswitchinterval(interval_s)


def _set_policy(policy: tuple[int, int]) -> tuple[int, int] | None:
    """Set this thread's policy and priority; returns what they were, None if not permitted."""
    before = os.sched_getscheduler(0), os.sched_getparam(0).sched_priority
    try:
        os.sched_setscheduler(0, policy[0], os.sched_param(policy[1]))
    except PermissionError:
        return None
    return before
