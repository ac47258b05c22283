"""The program behind the page as a process: a stop gets through whatever else goes wrong.

All of them are in the table of `PROCESSES.md` (`python -m tests.faults.process_matrix`).
"""

import time
from pathlib import Path

import pytest

from tests.faults.catalogue_processes import PROCESS_FAULTS
from tests.faults.page_process import guess, page_process, strangers
from tests.faults.process_matrix import run_case
from tests.faults.watched import Watch

pytestmark = pytest.mark.timing


def test_a_stop_gets_through_while_the_terminal_is_stalled(tmp_path: Path) -> None:
    with page_process(tmp_path) as page:
        page.begin()
        page.wait_until("raising")
        page.stall()
        guess(page.port, 20)
        stopped = page.press_stop()
        assert 0.0 < stopped.rest_s < 1.0
        assert stopped.is_confirmed
        page.end_stall()
        assert page.end() == 130
        assert "Stopped by the page on device 1" in page.said
        assert not Watch.read(page.motor).is_enabled


def test_two_hundred_strangers_shut_no_paired_page_out(tmp_path: Path) -> None:
    with page_process(tmp_path) as page:
        page.begin()
        page.held = strangers(page.port, 200, 10)
        page.wait_until("raising")
        sent_s = time.monotonic()
        assert page.client.post("/stop").status == 202
        assert time.monotonic() - sent_s < 0.3
        before_s = page.page.known["live"]["silent_s"]
        stopped = page.press_stop()
        assert stopped.is_confirmed
        assert before_s == 0, "its stream goes on"
        assert page.client.ask("GET", "/").status == 200


@pytest.mark.parametrize("name", ["web server killed", "no more files for the machine's process"])
def test_a_part_that_fails_leaves_the_motor_off(tmp_path: Path, name: str) -> None:
    fault = next(fault for fault in PROCESS_FAULTS if fault.name == name)
    assert run_case(fault, "raising", tmp_path).problems == ()
