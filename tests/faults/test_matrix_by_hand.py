"""Every fault of a rig without a motor, in a state that differs from fault to fault."""

from pathlib import Path

import pytest

from tests.faults.catalogue_hand import FAULTS
from tests.faults.harness import Fault, run_case

SAMPLE = [(fault, fault.states[(i + 2) % len(fault.states)]) for i, fault in enumerate(FAULTS)]


@pytest.mark.parametrize(("fault", "state"), SAMPLE, ids=[f"{f.name} - {s}" for f, s in SAMPLE])
def test_a_fault_ends_the_run_as_the_table_says(fault: Fault, state: str, tmp_path: Path) -> None:
    assert run_case(fault, state, tmp_path).problems == ()


def test_the_written_summary_is_of_these_faults() -> None:
    text = Path(__file__).with_name("HAND.md").read_text("utf-8")
    rows = [line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| ")][2:]
    assert rows == [fault.name for fault in FAULTS]
    assert "**" not in text, "a case in the summary is not as it should be"
