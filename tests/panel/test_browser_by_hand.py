"""Chromium against a twin whose board a person raises: the needle. `-m browser`."""

import os
from pathlib import Path

import msgspec
import pytest

from tests.panel.browser import PHONE, browser, need_browser
from tests.panel.rig_example import quick_settings, served_rig, wait_for
from tests.panel.test_browser import begin, pair

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


def test_the_page_shows_the_pace_while_the_board_is_raised(tmp_path: Path) -> None:
    need_browser()
    settings = quick_settings()
    motion = msgspec.structs.replace(settings.motion, raised_by="hand")
    settings = msgspec.structs.replace(settings, motion=motion)
    with (
        served_rig(tmp_path, is_open=True, settings=settings) as rig,
        browser(rig.url, PHONE) as page,
    ):
        pair(page, rig)
        assert not page.is_shown("pace")
        begin(page, 1)
        wait_for(lambda: page.is_shown("pace"), "the needle")
        needles = page.driver.find_elements("css selector", "#pace .needle")
        assert len(needles) == 1
        shot = os.environ.get("SHOT")
        if shot:
            page.run("document.querySelector('.pace').scrollIntoView({block: 'center'})")
            page.driver.save_screenshot(shot)
        assert "by steps" not in page.driver.find_element("css selector", ".values").text.lower()
        wait_for(lambda: rig.state in ("lowering", "parked"), "the slide")
        wait_for(lambda: not page.is_shown("pace"), "the end of the raise")
        assert not page.complaints()
