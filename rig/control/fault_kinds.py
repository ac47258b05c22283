"""Columns of the table of faults, and the words that its rows share."""

from typing import Literal, NamedTuple

from rig.control.states import STATES
from rig.errors import Cause
from rig.runfile.model import Flag, State

Response = Literal["cut", "last_run", "refuse"]
RESPONSES: dict[Response, str] = {
    "cut": "no further pulse, driver off, run closed as a fault, state `halted`",
    "last_run": "the run under way is finished, and no other begins",
    "refuse": "nothing begins",
}

ALL: frozenset[State] = frozenset(STATES) - {"halted"}
HOMED: frozenset[State] = ALL - {"parked", "homing"}
MEASURING: frozenset[State] = frozenset({"raising", "sliding"})

CHECK = "Then start again: the rig homes first."


class Fault(NamedTuple):
    """One condition: where it counts, what the machine does, what a person does about it."""

    cause: Cause
    """Stable word for files and tests."""
    condition: str
    """What is the matter, in words."""
    states: frozenset[State]
    """States in which it is looked for or can arise."""
    response: Response
    notice: str
    """How soon it is noticed, and by what."""
    flag: Flag | None
    """Put on the run."""
    action: str
    """The remedy."""
