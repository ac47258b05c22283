"""The phone's page in Chromium, with a simulated phone on a simulated board; in real time."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.files.stamps import utc_text
from rig.panel.study.book import Book
from rig.study.folder.journal import Reading
from rig.study.folder.study import open_study
from rig.study.phone.trace import FOLDER, read_trace
from rig.study.slides.table import slide_table
from tests.fastsim.phone import G, Phone, Trouble, lift, up
from tests.panel.browser import need_browser
from tests.panel.phone_page import PhonePage, Server, pause, phone_page, readings, served
from tests.panel.rig_example import wait_for
from tests.panel.study.club import make_club

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the driver's own sockets
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(autouse=True)
def _browser_is_there() -> None:
    need_browser()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_club(tmp_path / "club").path


@pytest.fixture
def server(folder: Path, tmp_path: Path) -> Iterator[Server]:
    with served(folder, tmp_path) as server:
        yield server


class Board:
    """A phone on a board, and what it reads."""

    def __init__(self, seed: int) -> None:
        self.phone = Phone(np.random.default_rng(seed), Trouble())

    def still(self, yaw_deg: float, seconds: float) -> dict[str, Any]:
        n = int(seconds * 1000)
        force = G * np.tile(up(self.phone.lean_deg, self.phone.cross_deg), (n, 1))
        return self.phone.events(force, np.zeros((n, 3)), yaw_deg)

    def prepare(self, page: PhonePage) -> None:
        yaw = self.phone.yaw_deg
        page.start_sensors(self.still(yaw, 1.0))
        page.zero(self.still(yaw + 180.0, 5.0), self.still(yaw, 5.0))
        page.page.type("reader", "Ines")
        page.page.run("const p = document.getElementById('pace'); p.value = '3.0';"
                      "p.dispatchEvent(new Event('change'));")  # fmt: skip

    def lift(self, slide_deg: float) -> dict[str, Any]:
        return lift(self.phone, slide_deg, 3.0)[0]


def has_readings(folder: Path, number: int) -> bool:
    return len(readings(folder)) == number


def url_of(server: Server) -> str:
    return f"http://localhost:{server.port}/phone"


def test_three_lifts_become_slides_with_their_uncertainty(folder: Path, server: Server) -> None:
    board = Board(11)
    with phone_page(url_of(server)) as page:
        board.prepare(page)
        assert "leans by" in page.page.text("zero-words")
        for number, angle in enumerate((18.0, 17.0, 19.0), start=1):
            page.lift(board.lift(angle))
            wait_for(partial(has_readings, folder, number), "the slide")
            wait_for(lambda: page.page.text("told").startswith("Noted:"), "the answer")
        assert page.page.complaints() == []
    slides = slide_table(open_study(folder)).valid
    assert [one.slide_number for one in slides] == [1, 2, 3]
    assert len({one.series for one in slides}) == 1
    for one, true in zip(slides, (18.0, 17.0, 19.0), strict=True):
        assert one.onset_angle_deg is not None
        assert one.u_onset_angle_deg is not None
        assert abs(one.onset_angle_deg - true) < 4.0 * one.u_onset_angle_deg
        assert 0.15 < one.u_onset_angle_deg < 0.6
        assert read_trace(folder / FOLDER / (one.trace or "")).samples.taps_s


def test_after_enough_slides_the_page_goes_on_to_the_next_bag_face(
    folder: Path, server: Server
) -> None:
    """One tap begins each lift; another one where somebody wants one more of what was enough."""
    board = Board(15)
    rows = Book(folder, by_hand=True).document(None)["rows"]
    first, second = (f"{row['bag']}, {row['face']}" for row in rows[:2])
    with phone_page(url_of(server)) as page:
        shown = page.page
        board.prepare(page)

        def lift_one(number: int) -> None:
            page.lift(board.lift(12.0))
            wait_for(partial(has_readings, folder, number), "the slide")
            wait_for(lambda: shown.text("told").startswith("Noted:"), "the answer")

        def shows(begin: str, enough: str) -> None:
            wait_for(partial(shown.says, "begin", f"Begin: {begin}"), f"{begin} on the button")
            wait_for(partial(shown.says, "enough-words", enough), f"the words {enough!r}")

        shows(first, "")
        assert shown.text("place") == f"{rows[0]['how']} 3 slides to go."
        lift_one(1)
        lift_one(2)
        wait_for(partial(shown.says, "place", f"{rows[0]['how']} One slide to go."), "the count")
        shows(first, "")
        lift_one(3)
        shows(second, f"Enough of {first}.")
        assert shown.text("place") == f"{rows[1]['how']} 3 slides to go."
        if shot := os.environ.get("SHOT"):
            shown.driver.save_screenshot(shot)
        shown.press("one-more")
        shows(first, "")
        lift_one(4)
        pause(0.5)
        shows(first, "")

        now = utc_text(datetime.now(UTC))
        others = [
            Reading(
                at=now,
                bag=row["bag"],
                face=row["face"],
                board="shed board",
                reader="Paul",
                angles_deg=(20.0,) * n,
                stage="baseline",
                session="evening",
            )
            for row, n in zip(rows[1:], (2, 3, 3, 3, 3, 3, 3), strict=True)
        ]
        open_study(folder).note(*others)
        shown.run(f"choose({rows[1]['bag']!r}, {rows[1]['face']!r}); showPlace()")
        lift_one(12)
        all_is = "All is measured: the treatment is next, on the study’s page."
        shows(second, f"Enough of {second}. {all_is}")
        assert shown.complaints() == []
    made = [f"{one.bag}, {one.face}" for one in readings(folder) if one.reader == "Ines"]
    assert made == [*[first] * 4, second]


def test_a_lift_outlives_a_lost_connection_and_a_closed_page(
    folder: Path, server: Server, tmp_path: Path
) -> None:
    board = Board(12)
    with phone_page(url_of(server)) as page:
        board.prepare(page)
        driver = page.page.driver
        driver.execute_cdp_cmd("Network.enable", {})
        off = {"offline": True, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        driver.execute_cdp_cmd("Network.emulateNetworkConditions", off)
        page.lift(board.lift(16.0))
        wait_for(lambda: page.page.is_shown("wait-box"), "the lift that waits")
        assert "kept in this phone" in page.page.text("told")
        assert readings(folder) == []
        driver.execute_cdp_cmd("Network.emulateNetworkConditions", {**off, "offline": False})
        driver.refresh()
        wait_for(lambda: len(readings(folder)) == 1, "the slide after the reload")
        wait_for(lambda: not page.page.is_shown("wait-box"), "nothing waits")
        pause(6.0)
        assert len(readings(folder)) == 1, "it is written once"


def test_a_page_that_closes_in_mid_lift_loses_no_reading(folder: Path, server: Server) -> None:
    board = Board(13)
    with phone_page(url_of(server)) as page:
        board.prepare(page)
        whole = board.lift(16.0)
        n = next(i for i, t in enumerate(whole["t_s"]) if t > 4.0)
        cut = {key: value[:n] for key, value in whole.items() if key != "taps_s"}
        page.play({**cut, "taps_s": None}, press="begin")
        page.page.driver.refresh()
        wait_for(lambda: len(list((folder / FOLDER).glob("*"))) == 1, "its trace")
        wait_for(lambda: "no tap" in page.page.text("told"), "the words")
    (path,) = (folder / FOLDER).glob("*")
    assert read_trace(path).samples.t_s[-1] > 2.5, "all but the last second"
    assert readings(folder) == []


def test_a_screen_that_locks_in_mid_lift_loses_no_reading(folder: Path, server: Server) -> None:
    board = Board(14)
    with phone_page(url_of(server)) as page:
        board.prepare(page)
        whole = board.lift(16.0)
        n = next(i for i, t in enumerate(whole["t_s"]) if t > 4.0)
        cut = {key: value[:n] for key, value in whole.items() if key != "taps_s"}
        page.play({**cut, "taps_s": None}, press="begin")
        hide = "Object.defineProperty(document, 'hidden', {value: %s, configurable: true});"
        tell = "document.dispatchEvent(new Event('visibilitychange'));"
        page.page.run(hide % "true" + tell)  # no readings come any more
        pause(1.5)
        page.page.run(hide % "false" + tell)
        page.page.press("tap")
        page.play({**board.still(0.0, 1.0), "taps_s": None})
        wait_for(lambda: "gave no readings for" in page.page.text("told"), "the words")
    (path,) = (folder / FOLDER).glob("*")
    kept = read_trace(path).samples
    assert len(kept.t_s) > n, "all before the screen locked, and some after"
    assert len(kept.taps_s) == 1
    assert readings(folder) == []


def test_a_refused_permission_is_said_in_plain_words(server: Server) -> None:
    refuses = "DeviceMotionEvent.requestPermission = async () => 'denied';"
    with phone_page(url_of(server), refuses) as page:
        page.page.press("ask")
        wait_for(lambda: "refused" in page.page.text("trouble"), "the words")
        assert not page.page.is_shown("zero-box")


def test_a_browser_without_sensors_and_a_page_without_encryption(server: Server) -> None:
    with phone_page(url_of(server)) as page:
        page.page.press("ask")
        wait_for(lambda: "No readings come" in page.page.text("trouble"), "the words")
    plain = "Object.defineProperty(window, 'isSecureContext', {value: false});"
    with phone_page(url_of(server), plain) as page:
        page.page.press("ask")
        wait_for(lambda: "--https" in page.page.text("trouble"), "the words")


def test_over_https_a_phone_pairs_and_the_browsers_own_sensors_are_read(
    folder: Path, tmp_path: Path
) -> None:
    with served(folder, tmp_path, "--https") as server:
        with phone_page(f"https://localhost:{server.port}/phone", trusting=True) as page:
            driver = page.page.driver
            wait_for(lambda: page.page.is_shown("code"), "the field for the code")
            page.page.type("code", server.code)
            page.page.find("code").submit()
            wait_for(lambda: not page.page.is_shown("code"), "the pairing")
            (cookie,) = driver.get_cookies()
            assert cookie["secure"]
            assert cookie["httpOnly"]
            for kind in ("accelerometer", "linear-acceleration", "gyroscope"):
                pull = (0.0, 0.5, 9.7) if kind == "accelerometer" else (0.0, 0.0, 0.0)
                reading = {"type": kind, "reading": {"xyz": dict(zip("xyz", pull, strict=True))}}
                enabled = {"enabled": True, "type": kind}
                driver.execute_cdp_cmd("Emulation.setSensorOverrideEnabled", enabled)
                driver.execute_cdp_cmd("Emulation.setSensorOverrideReadings", reading)
            page.page.press("ask")
            wait_for(lambda: page.page.is_shown("zero-box"), "the sensors")
            assert page.page.run("return motion.last.pull") == pytest.approx([0.0, 0.5, 9.7])
            assert not page.page.is_shown("sensor-box"), "tilt and rotation come"
