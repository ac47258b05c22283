"""What stops the machine in order."""

from typing import NamedTuple


class StopRequest(NamedTuple):
    """Request for an orderly stop, put into the machine's events."""

    reason: str
    ends_program: bool = False
    """Whether the program ends too, as by a signal."""
