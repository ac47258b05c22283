"""Every condition under which the machine stops itself or refuses to begin, in one table.

None of it is a safety function: the emergency stop cuts the motor's supply in hardware, and this
table only makes the program follow. The screw holds the board by itself, so "driver off" leaves
the board where it is, at any angle.

A `MachineFaultError` names a cause and states the facts; flag and remedy come from here.
"""

from rig.control.faults.computer import COMPUTER
from rig.control.faults.kinds import ALL, MEASURING, RESPONSES, Fault
from rig.control.faults.motion import MOTION
from rig.control.faults.placing import PLACING
from rig.control.faults.sensors import SENSORS
from rig.control.states import STATES
from rig.errors import Cause, MachineFaultError, RigError

__all__ = ["BY_CAUSE", "FAULTS", "MEASURING", "as_markdown", "remedy", "told"]

FAULTS: tuple[Fault, ...] = (*MOTION, *SENSORS, *PLACING, *COMPUTER)
BY_CAUSE: dict[Cause, Fault] = {fault.cause: fault for fault in FAULTS}


def remedy(cause: Cause) -> str:
    """Remedy for a fault of this cause."""
    return BY_CAUSE[cause].action


def told(error: RigError) -> str:
    """Full text of an error: the facts, and for a fault of the machine its remedy."""
    if isinstance(error, MachineFaultError):
        return f"{error.what} {remedy(error.cause)}"
    return str(error)


def as_markdown() -> str:
    """The table for the builder's notes."""
    lines = [
        "# When the machine stops itself",
        "",
        "Made from `rig/control/faults/table.py` by `python -m rig.control.faults.table`; a test"
        " compares. None of this is a safety function: the emergency stop's own contact cuts the"
        " motor's supply.",
        "",
        "Responses:",
        "",
        *(f"- **{name}**: {text}." for name, text in RESPONSES.items()),
        "",
        "Reset: the first cause is kept and shown until a person resets it. After a command has"
        " ended, the next command is the reset; in the service, a press of the start button is (a"
        " button held throughout does not count). Both begin with homing.",
        "",
        "In `placing` something moves only where a blade is fitted: the blade, and the board for"
        " the settle tilt or to bring the bag down. Rows about moves apply there too.",
        "",
        "| cause | condition | states | does | noticed | flag | remedy |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for entry in FAULTS:
        if entry.states == ALL:
            states = "all"
        else:
            states = ", ".join(state for state in STATES if state in entry.states)
        lines.append(
            f"| `{entry.cause}` | {entry.condition} | {states} | {entry.response} | {entry.notice}"
            f" | {f'`{entry.flag}`' if entry.flag else '–'} | {entry.action} |"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(as_markdown(), end="")
