"""The table of faults: complete, plain, and the same in the notes."""

import ast
from pathlib import Path

import pytest

from rig.control.faults import BY_CAUSE, FAULTS, as_markdown
from rig.control.interlocks import CONDITIONS

ROOT = Path(__file__).parents[2]


def test_the_notes_show_the_table_as_it_is() -> None:
    assert (ROOT / "firmware_notes" / "INTERLOCKS.md").read_text("utf-8") == as_markdown()


def test_causes_are_unique() -> None:
    assert len(BY_CAUSE) == len(FAULTS)


def test_every_condition_that_is_looked_for_is_in_the_table() -> None:
    assert set(CONDITIONS) <= set(BY_CAUSE)


def _raised_causes() -> set[str]:
    """The first argument of every MachineFaultError and fault() below the commands."""
    found: set[str] = set()
    for folder in ("devices", "motion", "control", "procedures", "runfile"):
        for path in (ROOT / "rig" / folder).glob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Name)
                    and node.func.id in ("MachineFaultError", "fault")
                    and node.args
                    and isinstance(node.args[0], ast.Constant)
                ):
                    cause = node.args[0].value
                    assert isinstance(cause, str)
                    found.add(cause)
    return found


def test_every_cause_that_the_program_raises_is_in_the_table() -> None:
    assert _raised_causes() <= set(BY_CAUSE)


@pytest.mark.parametrize("entry", FAULTS, ids=lambda entry: entry.cause)
def test_an_entry_says_what_and_how_to_mend_it(entry) -> None:
    assert entry.states
    assert len(entry.condition) > 15
    assert entry.action.endswith(".")
    assert entry.notice
