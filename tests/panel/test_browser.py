"""Chromium against a twin in real time. Long: `python -m pytest -m browser tests/panel`."""

import re
import signal
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from rig.settings.show import commented_toml
from tests.panel.browser import PHONE, Page, browser, need_browser
from tests.panel.rig_example import Rig, quick_settings, served_rig, wait_for

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the driver's own sockets
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(autouse=True)
def _browser_is_there() -> None:
    need_browser()


def pair(page: Page, rig: Rig) -> None:
    """Type the code from the terminal."""
    wait_for(lambda: page.is_shown("code"), "the field for the code")
    page.type("code", rig.code_after())
    page.press("do-pair")
    wait_for(lambda: not page.is_shown("code"), "the pairing")


def begin(page: Page, runs: int, bag: str = "Heron 1") -> None:
    """Fill in the form; the bag lies ready."""
    wait_for(lambda: page.is_shown("begin"), "the form")
    page.type("runs", str(runs))
    page.type("bag", bag)
    if not page.find("ready").is_selected():
        page.press("ready")
    page.press("begin")


def serve_bag(page: Page, rig: Rig) -> None:
    """Wait until the bag is asked for and lies there again, then press start on the page."""
    wait_for(lambda: rig.state == "placing", "placing")
    wait_for(lambda: page.is_shown("start"), "the start button")
    rig.machine.clock.pause_s(4.0)
    page.press("start")


def test_pair_make_a_series_of_three_watch_and_read_the_result(tmp_path: Path) -> None:
    name = "<b>Heron</b> <img src=x onerror=\"document.title='in'\">"
    with served_rig(tmp_path, is_open=True) as rig, browser(rig.url) as page:
        wait_for(lambda: page.text("link") == "Live", "the stream")
        wait_for(lambda: page.is_shown("code"), "the field for the code")
        assert not page.find("begin").is_enabled()
        page.type("code", "0000 0001")
        page.press("do-pair")
        wait_for(lambda: "not the code" in page.text("said"), "the refusal")
        pair(page, rig)
        begin(page, 3, name)
        seen: list[float] = []
        wait_for(lambda: page.text("state") in ("Raising", "Sliding"), "the raise")
        end_s = rig.machine.clock.time_s() + 3.0
        while rig.machine.clock.time_s() < end_s:
            seen.append(page.angle_deg)
        assert max(seen) - min(seen) > 0.5, "the angle moves on the page"
        assert page.text("course") == "Run 1 of 3"
        assert page.text("left").startswith("about ")
        for run in (2, 3):
            serve_bag(page, rig)
            course = f"Run {run} of 3"
            wait_for(partial(page.says, "course", course), course)
        wait_for(lambda: "series is done" in page.notice, "the end")
        assert rig.outcomes() == ["slid"] * 3
        assert len(page.driver.find_elements("css selector", "#slides .dot")) == 3
        assert page.text("slides-words").startswith("3 slides that count: mean")
        assert name in page.driver.find_element("css selector", ".course").text, "text, not HTML"
        assert page.driver.title == "Tilt board"
        assert not page.driver.find_elements("css selector", ".course img, .course b")
        page.driver.find_element("css selector", "[value=us]").click()
        wait_for(lambda: page.text("temperature").endswith("°F"), "Fahrenheit")
        assert [c for c in page.complaints() if "403" not in c] == []


def test_emergency_stop_words_reset_and_going_on_on_a_phone(tmp_path: Path) -> None:
    with served_rig(tmp_path, is_open=True) as rig, browser(rig.url, PHONE) as page:
        pair(page, rig)
        begin(page, 1)
        wait_for(lambda: rig.state == "raising", "the raise")
        rig.emergency_stop(True)
        wait_for(lambda: page.text("state") == "Halted", "the halt")
        assert "The emergency stop" in page.notice
        assert "release the stop" in page.notice
        assert not rig.machine.stepper.enabled
        wait_for(lambda: page.is_shown("reset"), "the reset button")
        assert not page.find("reset").is_enabled(), "the stop is still down"
        rig.emergency_stop(False)
        wait_for(lambda: page.find("reset").is_enabled(), "the reset")
        page.press("reset")
        wait_for(lambda: page.is_shown("resume"), "what is unfinished")
        assert rig.state == "halted", "a reset moves nothing"
        page.press("resume")
        serve_bag(page, rig)
        wait_for(lambda: rig.outcomes() == ["fault", "slid"], "the run")


def test_a_phone_shows_what_counts_without_scrolling_and_takes_a_wet_thumb(tmp_path: Path) -> None:
    with served_rig(tmp_path, is_open=True) as rig, browser(rig.url, PHONE) as page:
        pair(page, rig)
        assert page.run("return document.documentElement.scrollWidth") <= PHONE[0]
        small = page.run(
            "return [...document.querySelectorAll('button, input, summary, .tick')]"
            ".filter(e => e.offsetParent && !e.closest('.tick:not(e)'))"
            ".map(e => [e.id || e.name || e.textContent, e.getBoundingClientRect().height])"
            ".filter(([, height]) => height < 44)"
        )
        assert small == [], "targets of 44 px and more (WCAG 2.2, 2.5.5)"
        unnamed = page.run(
            "return [...document.querySelectorAll('button, input')]"
            ".filter(e => !(e.textContent.trim() || e.labels?.length)).map(e => e.outerHTML)"
        )
        assert unnamed == [], "every control has a name for a screen reader"
        begin(page, 1)
        wait_for(lambda: rig.state == "raising", "the raise")
        page.driver.execute_script("document.querySelector('main').scrollTo(0, 0)")
        for name in ("state", "angle", "stop", "stop-hint"):
            box = page.find(name).rect
            assert 0 <= box["y"]
            assert box["y"] + box["height"] <= PHONE[1]
        # A thumb that slides off makes no click; the stop has gone out when it touched.
        page.run(
            "document.getElementById('stop').dispatchEvent("
            "new PointerEvent('pointerdown', {bubbles: true}))"
        )
        wait_for(lambda: rig.outcomes() == ["stopped"], "the stop")
        wait_for(lambda: "Stopped by the page on device 1" in page.notice, "the notice")


def test_the_keyboard_is_enough(tmp_path: Path) -> None:
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    with served_rig(tmp_path, is_open=True) as rig, browser(rig.url) as page:

        def press(*keys: str) -> None:
            ActionChains(page.driver).send_keys(*keys).perform()

        def tab_to(name: str) -> None:
            """Go there by the tabulator alone; what has the focus must be seen to have it."""
            for _ in range(30):
                press(Keys.TAB)
                at = page.driver.switch_to.active_element
                assert at.tag_name == "body" or at.value_of_css_property("outline-style") == "solid"
                if name in (at.get_attribute("id"), at.get_attribute("name")):
                    return
            raise AssertionError(f"the tabulator never comes to {name}")

        wait_for(lambda: page.is_shown("code"), "the field for the code")
        tab_to("code")
        press(rig.code_after(), Keys.ENTER)
        wait_for(lambda: page.is_shown("runs"), "the form")
        tab_to("runs")
        press(Keys.BACKSPACE, "2")
        tab_to("bag")
        press("Heron 1")
        tab_to("ready")
        press(Keys.SPACE)
        tab_to("begin")
        press(Keys.SPACE)
        wait_for(lambda: rig.state == "homing", "the homing")
        tab_to("stop")
        press(Keys.SPACE)
        wait_for(lambda: rig.outcomes() == ["stopped"], "the stop")
        wait_for(lambda: page.text("course").endswith("of 2 runs made"), "the page hears of it")
        assert "Heron 1" in page.driver.find_element("css selector", ".course").text
        wait_for(lambda: page.is_shown("resume"), "what is unfinished")
        tab_to("resume")
        press(Keys.ENTER)
        wait_for(lambda: rig.state != "parked", "the rest of the series")
        tab_to("stop")
        press(Keys.SPACE)
        wait_for(lambda: not rig.served.viewer.is_busy, "the stop")


def test_two_browsers_one_controls_and_both_may_stop(tmp_path: Path) -> None:
    with (
        served_rig(tmp_path, is_open=True) as rig,
        browser(rig.url) as one,
        browser(rig.url, PHONE) as two,
    ):
        pair(one, rig)
        begin(one, 2)
        wait_for(lambda: two.text("state") in ("Homing", "Dwelling", "Raising"), "the other's view")
        assert "Device 1 has the controls" in two.text("who")
        pair(two, rig)
        wait_for(lambda: two.is_shown("take"), "taking over")
        two.press("take")
        wait_for(lambda: "it has the controls" in two.text("who"), "the controls")
        wait_for(lambda: "Device 2 has the controls" in one.text("who"), "word of it")
        wait_for(lambda: rig.state == "raising", "the raise")
        one.press("stop")
        wait_for(lambda: rig.outcomes() == ["stopped"], "the stop by the one without controls")
        wait_for(lambda: "device 1" in two.notice, "word of who stopped")


def test_the_series_goes_on_without_page_and_server_and_the_page_comes_back(
    tmp_path: Path,
) -> None:
    with served_rig(tmp_path, presses=True) as rig:
        with browser(rig.url) as page:
            begin(page, 2)
            wait_for(lambda: rig.state == "raising", "the raise")
            rig.served.server.stop()
            wait_for(lambda: page.text("link").startswith("No connection"), "word of it", 20.0)
            assert rig.served.viewer.is_busy
            rig.served.server.start()
            wait_for(lambda: page.text("link") == "Live", "the page to come back")
            assert page.text("course").startswith("Run ")
            # The server alone dies, however hard: the series goes on, and another server begins.
            first = rig.served.server.process
            assert first is not None
            first.kill()
            wait_for(lambda: rig.served.server.process is not first, "another server")
            page.run("heard = 0")
            wait_for(lambda: page.run("return heard > 0"), "the page to come back")
            assert rig.served.viewer.is_busy
        # The browser is gone for good; the series is not.
        wait_for(lambda: rig.outcomes() == ["slid", "slid"], "the series", 120.0)


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGKILL])
def test_a_restart_of_the_program_in_mid_series_moves_nothing_and_offers_to_go_on(
    tmp_path: Path, end: signal.Signals, free_port: Callable[[], int]
) -> None:
    settings = tmp_path / "rig.toml"
    settings.write_text(commented_toml(quick_settings(late_pulse_ms=200.0)), "utf-8")
    port = free_port()
    words = [sys.executable, "-c", "from rig.commands.main import main; main()"]
    words += ["panel", "--twin", "--seed", "4", "--port", str(port)]
    words += ["--rig", str(settings), "--out", str(tmp_path / "runs")]

    told = tmp_path / "told.txt"

    def start() -> "subprocess.Popen[bytes]":
        told.write_text("")
        with told.open("ab") as out:
            return subprocess.Popen(words, stderr=out)

    first = start()
    second: subprocess.Popen[bytes] | None = None
    try:
        wait_for(lambda: "The page:" in told.read_text("utf-8"), "the address")
        with browser(f"http://127.0.0.1:{port}/") as page:
            begin(page, 3)
            wait_for(lambda: page.text("state") == "Raising", "the raise")
            first.send_signal(end)
            code = first.wait(30)
            assert code == (130 if end == signal.SIGTERM else -signal.SIGKILL)
            wait_for(lambda: page.text("link").startswith("No connection"), "word of it", 30.0)
            second = start()
            wait_for(lambda: page.text("link") == "Live", "the page to come back")
            wait_for(lambda: page.is_shown("resume"), "what is unfinished")
            assert page.text("state") == "Parked", "a restart moves nothing"
            assert re.search(r"0 of 3 runs", page.driver.page_source)
            if end == signal.SIGKILL:
                assert "cut off" in page.notice
    except AssertionError as error:
        error.add_note(f"What the program told:\n{told.read_text('utf-8')}")
        raise
    finally:
        for process in (first, second):
            if process is not None:
                process.terminate()
                process.wait(30)
