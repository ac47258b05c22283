"""Columns of the table of faults, and the words that its rows share."""

from typing import Literal, NamedTuple

from rig.control.states import STATES
from rig.errors import Cause
from rig.runfile.model import Flag, State

Response = Literal["cut", "last_run", "refuse"]
RESPONSES: dict[Response, str] = {
    "cut": "no further pulse, driver off, run closed as a fault, state `halted`",
    "last_run": "the current run is finished, and no other begins",
    "refuse": "nothing begins",
}

ALL: frozenset[State] = frozenset(STATES) - {"halted"}
HOMED: frozenset[State] = ALL - {"parked", "homing"}
MEASURING: frozenset[State] = frozenset({"raising", "sliding"})

CHECK = "Then start again: the rig homes first."


class Fault(NamedTuple):
    """One condition: states it applies to, response of the machine, remedy."""

    cause: Cause
    """Stable word for files and tests."""
    condition: str
    """Description of the condition."""
    states: frozenset[State]
    """States in which it is checked or can arise."""
    response: Response
    notice: str
    """Time and means of detection."""
    flag: Flag | None
    """Flag of the run."""
    action: str
    """The remedy."""
