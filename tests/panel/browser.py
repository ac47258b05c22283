"""Debian's Chromium, driven by its own driver; without it the tests that need it are skipped."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
WIDE, PHONE = (1280, 900), (390, 844)


def need_browser() -> None:
    """Skip the test where there is no browser."""
    if CHROMIUM is None or DRIVER is None:
        pytest.skip("needs a browser: apt-get install chromium chromium-driver")
    pytest.importorskip("selenium", reason="needs selenium: pip install 'rig[test]'")


class Page:
    """One browser with the page open."""

    def __init__(self, driver: Any) -> None:
        self.driver = driver

    def find(self, name: str) -> Any:
        """The element with this id, or the field of this name."""
        return self.driver.find_element("css selector", f'#{name}, [name="{name}"]')

    def text(self, name: str) -> str:
        """What is to be read there now."""
        return str(self.find(name).text)

    def says(self, name: str, words: str) -> bool:
        """Whether just that is to be read there now."""
        return self.text(name) == words

    def is_shown(self, name: str) -> bool:
        """Whether it is to be seen."""
        return bool(self.find(name).is_displayed())

    def type(self, name: str, text: str) -> None:
        """Put a text into a field."""
        field = self.find(name)
        field.clear()
        field.send_keys(text)

    def press(self, name: str) -> None:
        """Press a button as a finger or a mouse does."""
        self.find(name).click()

    def run(self, script: str) -> Any:
        """The value of a piece of JavaScript."""
        return self.driver.execute_script(script)

    @property
    def angle_deg(self) -> float:
        """The angle as it is shown; NaN when none is."""
        text = self.text("angle").removesuffix("°").replace("−", "-")
        return float("nan") if text == "–" else float(text)

    @property
    def notice(self) -> str:
        """The notice that is shown; empty if none is."""
        return str(self.driver.find_element("css selector", ".notice[role=alert]").text)

    def complaints(self) -> list[str]:
        """What the browser itself complained of, lost connections left out."""
        return [
            entry["message"]
            for entry in self.driver.get_log("browser")
            if "net::ERR_" not in entry["message"]
        ]


@contextmanager
def browser(url: str, size: tuple[int, int] = WIDE) -> Iterator[Page]:
    """A browser of its own, with the page open."""
    need_browser()
    from selenium import webdriver

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        options = webdriver.ChromeOptions()
        options.binary_location = CHROMIUM or ""
        words = ("headless=new", "no-sandbox", "disable-dev-shm-usage", "disable-gpu")
        more = (f"user-data-dir={profile}", f"window-size={size[0]},{size[1]}")
        for word in (*words, *more):
            options.add_argument(f"--{word}")
        service = webdriver.ChromeService(DRIVER)
        driver = webdriver.Chrome(options=options, service=service)
        try:
            if size == PHONE:
                metrics = {"width": size[0], "height": size[1], "mobile": True}
                driver.execute_cdp_cmd(
                    "Emulation.setDeviceMetricsOverride", {**metrics, "deviceScaleFactor": 2}
                )
            driver.get(url)
            yield Page(driver)
        finally:
            driver.quit()
            service.stop()
