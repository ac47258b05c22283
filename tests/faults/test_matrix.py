"""A part of the fault matrix: every fault once, in a state that differs from fault to fault."""

from pathlib import Path

import pytest

from rig.control.faults.table import BY_CAUSE
from rig.control.faults.table import FAULTS as TABLE
from tests.faults.catalogue import FAULTS, HERE
from tests.faults.harness import Fault, run_case

SAMPLE = [(fault, fault.states[i % len(fault.states)]) for i, fault in enumerate(FAULTS)]


@pytest.mark.parametrize(("fault", "state"), SAMPLE, ids=[f"{f.name} - {s}" for f, s in SAMPLE])
def test_a_fault_stops_the_machine_as_the_table_says(
    fault: Fault, state: str, tmp_path: Path
) -> None:
    assert run_case(fault, state, tmp_path).problems == ()


def test_the_written_summary_is_of_these_faults() -> None:
    text = (HERE / "README.md").read_text("utf-8")
    rows = [line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| ")][2:]
    assert rows == [fault.name for fault in FAULTS]
    assert "**" not in text, "a case in the summary is not as it should be"


def test_every_expected_cause_is_in_the_table() -> None:
    assert set().union(*(fault.causes for fault in FAULTS)) <= set(BY_CAUSE)


def test_every_cause_of_the_table_is_met_by_a_fault_of_the_summary_or_named_here() -> None:
    elsewhere = {
        "imu_setup": "tests/devices/test_lsm6.py",
        "not_steady": "tests/procedures/level/test_level.py",
        "not_warmed": "tests/procedures/level/test_options.py",
        "busy": "tests/control/process/test_lock.py",
        "climate_blank": "tests/devices/test_climate.py",
        "climate_silent": "tests/devices/test_climate.py",
        "suspended": "tests/faults/PROCESSES.md",
    }
    summary = (HERE / "README.md").read_text("utf-8")
    met = {entry.cause for entry in TABLE if f"`{entry.cause}`" in summary}
    assert {entry.cause for entry in TABLE} - met == set(elsewhere)
