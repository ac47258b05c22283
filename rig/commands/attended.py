"""A rig that a command has opened: signals brake it, and no terminal holds it up."""

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING

from rig.clock import RealClock
from rig.commands.terminal import unwaited
from rig.control.process.signals import SignalLog, stop_on_signals

if TYPE_CHECKING:
    from rig.control.machine import Machine
    from rig.opening import OpenRig


@contextmanager
def attended(opened: "OpenRig") -> Iterator[SignalLog]:
    """Open a rig until the block ends.

    Args:
        opened: not open yet.

    Raises:
        Interrupted: at the end, when a signal came and nothing else was raised.
    """
    machine = opened.machine
    # On the twin that jumps nothing is held up, and no line need be left out.
    quietly = unwaited() if isinstance(machine.clock, RealClock) else nullcontext()
    with stop_on_signals(machine.events, machine.continued) as signals, quietly, opened:
        try:
            yield signals
        finally:
            signals.place = standing(machine)


def standing(machine: "Machine") -> str:
    """Where the board stands once the machine is closed, and what to do about it."""
    angle_deg = machine.live.angle_deg
    if not machine.has_motor:
        seen = "" if angle_deg is None else f" at about {angle_deg:.1f}°"
        return f"The board stands{seen}. Let it down onto its rest before you reach under it."
    where = "at an angle that nobody knows" if angle_deg is None else f"at about {angle_deg:.1f}°"
    return (
        f"The board stands {where}, the motor is off and holds nothing. Look at it before you reach"
        " under it; the next start moves it down to its lower switch first."
    )
