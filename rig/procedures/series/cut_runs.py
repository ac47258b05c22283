"""End of a run by its file, even if the file was cut off anywhere."""

from pathlib import Path
from typing import NamedTuple

from rig.errors import BadInputError
from rig.runfile.model import Outcome, State
from rig.runfile.reader import read_run


class RunEnd(NamedTuple):
    """Progress of a run at its end."""

    outcome: Outcome | None
    """None when the file has no last line."""
    state: State | None
    t_s: float | None
    has_slid: bool
    """Whether the bag had begun to slide."""
    pushes: int = 0
    brought_down: int = 0


def how_it_ended(path: Path) -> RunEnd:
    """Read a run file that may be whole, cut off, or missing."""
    try:
        run = read_run(path)
    except BadInputError:
        return RunEnd(None, None, None, False)
    states = [event for event in run.events if event.event == "state"]
    names = [event.detail.get("state") for event in states]
    return RunEnd(
        None if run.end is None else run.end.outcome,
        names[-1] if names else "parked",
        run.last_time_s or 0.0,
        "sliding" in names,
        sum(event.event == "blade_push" for event in run.events),
        sum(event.event == "bag_brought_down" for event in run.events),
    )
