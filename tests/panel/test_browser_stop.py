"""A stop from a phone while processes behind the page fail, against the program on a terminal.

Long, and it measures: `python -m pytest -m browser tests/panel/test_browser_stop.py`.
"""

import time
from pathlib import Path

import pytest

from tests.faults.catalogue_processes import Act, files_of_web, kill_web, pause, stall
from tests.faults.page_process import PageProcess, page_process
from tests.faults.watched import Watch
from tests.panel.browser import PHONE, Page, browser, need_browser
from tests.panel.rig_example import wait_for

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the driver's own sockets
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
SAID_S = 2.0
"""A page says by then that the rig brakes, or that it was not confirmed."""
NOT_CONFIRMED = "Stop not confirmed: use the button on the rig."


def pressed(page: Page, rig: PageProcess) -> tuple[float, str, float]:
    """Press Stop in the browser; when it said what, and when the last step pulse came, in s."""
    begun_s = time.monotonic()
    page.press("stop")
    words, said_s = "", 0.0
    while not words.startswith(("Stop received", "Stop not")) and said_s < 10.0:
        words, said_s = page.text("stopped"), time.monotonic() - begun_s
    wait_for(lambda: time.monotonic() - Watch.read(rig.motor).last_pulse_s > 1.0, "rest", 30.0)
    return said_s, words, Watch.read(rig.motor).last_pulse_s - begun_s


@pytest.mark.parametrize(
    ("act", "rest_s"),
    [
        pytest.param(lambda _: None, 1.0, id="nothing"),
        pytest.param(stall, 1.0, id="Ctrl-S at the terminal"),
        pytest.param(kill_web, 2.0, id="web server killed"),
        pytest.param(files_of_web, 2.0, id="no file left for the web server"),
        pytest.param(pause(10.0, of_web=True), 4.0, id="web server stopped"),
    ],
)
def test_a_stop_from_a_phone_brakes_or_the_page_says_that_it_did_not(
    tmp_path: Path, act: Act, rest_s: float
) -> None:
    need_browser()
    with (
        page_process(tmp_path) as rig,
        browser(f"http://127.0.0.1:{rig.port}/", PHONE) as page,
    ):
        wait_for(lambda: page.is_shown("code"), "the field for the code")
        page.type("code", rig.wait_to_hear(r"paired\. Code for the next one: (\d{4} \d{4})")[1])
        page.press("do-pair")
        wait_for(lambda: not page.is_shown("code"), "the pairing")
        rig.begin()
        rig.wait_until("raising")
        act(rig)
        said_s, words, stood_s = pressed(page, rig)
        print(f"\n{said_s:.2f} s: {words!r}, at rest after {stood_s:.2f} s", end=" ")
        assert said_s < SAID_S
        assert words.startswith("Stop received") or words == NOT_CONFIRMED
        assert stood_s < rest_s
        wait_for(lambda: page.says("stopped", "Stop received: at rest."), "the machine's word")
        rig.end_stall()
        assert rig.end() == 130
