"""Faults by their cause: the error, the flag, and the table as the notes show it."""

from rig.control.fault_kinds import ALL, MEASURING, RESPONSES, Fault
from rig.control.fault_table import FAULTS
from rig.control.states import STATES
from rig.errors import MachineFaultError
from rig.runfile.model import Flag

__all__ = ["BY_CAUSE", "FAULTS", "MEASURING", "as_markdown", "fault", "flag_of"]

BY_CAUSE: dict[str, Fault] = {fault.cause: fault for fault in FAULTS}


def fault(cause: str, what: str) -> MachineFaultError:
    """The error for a cause of the table; `what` is the sentence with the figures."""
    return MachineFaultError(cause, what, BY_CAUSE[cause].action)


def flag_of(cause: str) -> Flag | None:
    """The flag that a fault of this cause puts on its run."""
    known = BY_CAUSE.get(cause)
    return None if known is None else known.flag


def as_markdown() -> str:
    """The table as it stands in the notes for the builder."""
    lines = [
        "# When the machine stops itself",
        "",
        "Made from `rig/control/fault_table.py` by `python -m rig.control.faults`; a test"
        " compares. None of this is a safety function: the emergency stop's own contact cuts the"
        " motor's supply.",
        "",
        "What it does:",
        "",
        *(f"- **{name}**: {text}." for name, text in RESPONSES.items()),
        "",
        "Reset: the first cause is kept and shown until a person comes. In a command that has"
        " ended, giving a new command is the reset; in the service, a press of the start button is"
        " (a button that is held all along counts for nothing). Both begin with a homing.",
        "",
        "In `placing` something moves only where a blade is fitted: the blade, and the board for"
        " the settle tilt or to bring the bag down. What a row says of moves counts there too.",
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
