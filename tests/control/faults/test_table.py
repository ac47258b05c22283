"""The table of faults: complete, plain, and the same in the notes."""

import ast
from pathlib import Path
from typing import get_args

import pytest

from rig.control.faults.table import BY_CAUSE, FAULTS, as_markdown, told
from rig.control.interlocks import CONDITIONS
from rig.control.mover import CUT_BECAUSE
from rig.errors import BadInputError, Cause, MachineFaultError

ROOT = Path(__file__).parents[3]


def test_the_notes_show_the_table_as_it_is() -> None:
    assert (ROOT / "firmware_notes" / "INTERLOCKS.md").read_text("utf-8") == as_markdown()


def test_every_cause_has_one_row() -> None:
    """The type checker keeps raises to these causes, so each of them has a remedy."""
    assert sorted(entry.cause for entry in FAULTS) == sorted(get_args(Cause))


def test_a_fault_is_told_with_the_remedy_of_the_table() -> None:
    assert told(MachineFaultError("disk", "The disk is full.")) == (
        "The disk is full. Free space, or change the disk or the folder (--out); lines"
        " already written are kept."
    )
    assert told(BadInputError("No such bag.")) == "No such bag."


def _raised_causes() -> set[str]:
    """The first argument of every MachineFaultError below the commands."""
    found: set[str] = set()
    for folder in ("devices", "motion", "control", "procedures", "runfile"):
        for path in (ROOT / "rig" / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Name)
                    and node.func.id == "MachineFaultError"
                    and node.args
                    and isinstance(node.args[0], ast.Constant)
                ):
                    cause = node.args[0].value
                    assert isinstance(cause, str)
                    found.add(cause)
    return found


def test_every_cause_is_raised_somewhere() -> None:
    named = {*_raised_causes(), *CONDITIONS, *CUT_BECAUSE}
    # `BusyError` has no cause; the drivers name `imu_reset` where they compare registers.
    assert set(BY_CAUSE) - named == {"busy", "imu_reset"}


@pytest.mark.parametrize("entry", FAULTS, ids=lambda entry: entry.cause)
def test_an_entry_says_what_and_how_to_mend_it(entry) -> None:
    assert entry.states
    assert len(entry.condition) > 15
    assert entry.action.endswith(".")
    assert entry.notice
