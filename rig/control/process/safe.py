"""Switch the motor's driver off from outside, whichever process holds its pin."""

import os
import shutil
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from rig.clock import Clock
from rig.control.process.lock import holder
from rig.errors import RigError

GRACE_S = 4.0
"""Grace period in which a stopping process brakes, closes its file and exits."""
KILL_S = 1.0
LOOK_S = 0.05


class SafeStep(NamedTuple):
    """Result of one way of switching off."""

    way: str
    is_done: bool
    text: str


def make_safe(
    clock: Clock,
    enable_pin: int,
    lock: Path,
    open_pins: Callable[[], Any],
    *,
    end: Callable[[int, int], None] = os.kill,
    pinctrl: str | None = None,
) -> list[SafeStep]:
    """End the process that uses the rig, and drive the enable line inactive.

    Args:
        clock: waits.
        enable_pin: GPIO number.
        lock: the rig's lock file.
        open_pins: makes the pin factory.
        end: sends a signal to a process.
        pinctrl: path of the Pi's own pin tool, which needs no claim on a line; searched if None.

    Returns:
        The attempts, in order. The driver is off if the last one succeeded.
    """
    steps = []
    process = holder(lock)
    if process is not None:
        steps.append(_end(clock, lock, process, end))
    step = _claim(enable_pin, open_pins)
    steps.append(step)
    if not step.is_done:
        steps.append(_by_tool(enable_pin, pinctrl or shutil.which("pinctrl")))
    return steps


def _end(clock: Clock, lock: Path, process: int, end: Callable[[int, int], None]) -> SafeStep:
    way = f"process {process}"
    for number, patience_s, text in (
        (signal.SIGTERM, GRACE_S, "was asked to end, and ended"),
        (signal.SIGKILL, KILL_S, "did not end on request, and was killed"),
    ):
        try:
            end(process, number)
        except ProcessLookupError:
            return SafeStep(way, True, "had ended already")
        except PermissionError:
            return SafeStep(way, False, "belongs to another user: use sudo, or the emergency stop")
        deadline_s = clock.time_s() + patience_s
        while clock.time_s() < deadline_s:
            if holder(lock) != process:
                return SafeStep(way, True, text)
            clock.pause_s(LOOK_S)
    return SafeStep(way, False, "does not end: use the emergency stop")


def _claim(enable_pin: int, open_pins: Callable[[], Any]) -> SafeStep:
    """Claim the line as an output, which drives it low at once."""
    from gpiozero import DigitalOutputDevice

    way = f"GPIO {enable_pin}"
    try:
        factory = open_pins()
    except RigError as error:
        return SafeStep(way, False, str(error))
    try:
        device = DigitalOutputDevice(enable_pin, pin_factory=factory)
        device.off()
        level = bool(device.pin.state)
        device.close()
    except Exception as error:  # lgpio.error derives from Exception alone
        return SafeStep(way, False, f"cannot be claimed ({error})")
    finally:
        factory.close()
    return SafeStep(way, not level, "still reads high" if level else "driven low: driver off")


def _by_tool(enable_pin: int, tool: str | None) -> SafeStep:
    if tool is None:
        return SafeStep("pinctrl", False, "is not on this machine: use the emergency stop")
    command = [tool, "set", str(enable_pin), "op", "dl"]
    try:
        done = subprocess.run(command, capture_output=True, timeout=5, check=False)  # noqa: S603 - numbers only
    except (OSError, subprocess.TimeoutExpired) as error:
        return SafeStep("pinctrl", False, f"failed ({error}): use the emergency stop")
    if done.returncode:
        return SafeStep("pinctrl", False, "refused: use sudo, or the emergency stop")
    return SafeStep("pinctrl", True, f"GPIO {enable_pin} driven low: driver off")
