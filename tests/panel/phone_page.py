"""The phone's page in a browser: a server of its own, and a phone that is played to the page."""

import json
import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rig.clock.real import RealClock
from rig.study.folder.journal import Reading
from rig.study.folder.study import open_study
from tests.panel.browser import PHONE, Page, browser
from tests.panel.rig_example import wait_for

PLAYER = """
window.play = (samples) => new Promise((done) => {
  const start = performance.now();
  let next = 0, tapped = false;
  const at = (t, event) =>
    Object.defineProperty(event, "timeStamp", {value: start + 1000 * t});
  const timer = setInterval(() => {
    const now = (performance.now() - start) / 1000;
    while (next < samples.t_s.length && samples.t_s[next] <= now) {
      if (!tapped && samples.taps_s && samples.taps_s[0] <= samples.t_s[next]) {
        tapped = true;
        const tap = at(samples.taps_s[0], new PointerEvent("pointerdown"));
        document.getElementById("tap").dispatchEvent(tap);
      }
      const [x, y, z] = samples.acceleration_m_s2[next];
      const [alpha, beta, gamma] = samples.rotation_deg_s[next];
      // A busy computer plays late; the phone would not have been.
      window.dispatchEvent(at(samples.t_s[next], new DeviceMotionEvent("devicemotion", {
        accelerationIncludingGravity: {x, y, z},
        rotationRate: {alpha, beta, gamma}, interval: 16})));
      next += 1;
    }
    if (next === samples.t_s.length) { clearInterval(timer); done(); }
  }, 2);
});
"""


class Server:
    """`rig panel STUDY` in a process of its own."""

    def __init__(self, folder: Path, configuration: Path, *words: str) -> None:
        self.lines: list[str] = []
        environment = {"XDG_CONFIG_HOME": str(configuration), "PYTHONPATH": str(Path.cwd())}
        command = "from rig.commands.main import main; main()"
        self.process = subprocess.Popen(
            [sys.executable, "-c", command, "panel", str(folder), "--port", "0", *words],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
            env=environment,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        wait_for(lambda: self._found(r"The page: .*:(\d+)/"), "the address")
        self.port = int(self._found(r"The page: .*:(\d+)/") or 0)

    def _read(self) -> None:
        assert self.process.stderr is not None
        self.lines.extend(self.process.stderr)

    def _found(self, pattern: str) -> str:
        matches = [m for line in self.lines if (m := re.search(pattern, line))]
        return matches[-1][1] if matches else ""

    @property
    def code(self) -> str:
        """For pairing."""
        return self._found(r"ode .*: (\d{4} \d{4})")

    def close(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(10)
        self._reader.join(5)
        assert self.process.stderr is not None
        self.process.stderr.close()


@contextmanager
def served(folder: Path, tmp_path: Path, *words: str) -> Iterator[Server]:
    """A server for a study."""
    server = Server(folder, tmp_path / "configuration", *words)
    try:
        yield server
    finally:
        server.close()


class PhonePage:
    """The page with a phone that plays what a simulated one read."""

    def __init__(self, page: Page, url: str, before: str = "") -> None:
        self.page = page
        command = {"source": PLAYER + before}
        page.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", command)
        page.driver.set_script_timeout(120)
        page.driver.get(url)

    def play(self, samples: dict[str, Any], press: str = "") -> None:
        """Play readings in real time; a button may be pressed first."""
        shown = {key: value for key, value in samples.items() if key != "began_s"}
        first = f"document.getElementById({press!r}).click();" if press else ""
        played = f"window.play({json.dumps(shown)})"
        script = f"const done = arguments[arguments.length - 1]; {first} {played}.then(done);"
        self.page.driver.execute_async_script(script)

    def start_sensors(self, still: dict[str, Any]) -> None:
        """Ask for the sensors while a phone lies still."""
        self.play({**still, "taps_s": None}, press="ask")
        wait_for(lambda: self.page.is_shown("zero-box"), "the zero")

    def zero(self, first: dict[str, Any], second: dict[str, Any]) -> None:
        """Lay it down and turn it."""
        self.play({**first, "taps_s": None}, press="zero-first")
        wait_for(lambda: self.page.find("zero-second").is_enabled(), "the first laying")
        self.play({**second, "taps_s": None}, press="zero-second")
        wait_for(lambda: self.page.is_shown("lift-box"), "the zero")

    def lift(self, samples: dict[str, Any]) -> None:
        """Begin, lift and tap."""
        self.play(samples, press="begin")


def readings(folder: Path) -> list[Reading]:
    """What the journal has."""
    return open_study(folder).journal.of(Reading)


def pause(seconds: float) -> None:
    """Wait in real time."""
    RealClock().pause_s(seconds)


@contextmanager
def phone_page(url: str, before: str = "", *, trusting: bool = False) -> Iterator[PhonePage]:
    """A browser of a phone's size on the page; `trusting` skips the certificate's warning."""
    with browser("about:blank", PHONE) as page:
        if trusting:
            page.driver.execute_cdp_cmd("Security.enable", {})
            page.driver.execute_cdp_cmd("Security.setIgnoreCertificateErrors", {"ignore": True})
        yield PhonePage(page, url, before)
