"""`rig panel` on the twin as a person meets it: a process on a terminal, a page that watches."""

import json
import os
import pty
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from rig.panel.stream import RETRY_MS
from rig.settings.show import commented_toml
from tests.faults.watched import Watch
from tests.panel.client import Client
from tests.panel.rig_example import quick_settings, wait_for

ROOT = Path(__file__).parents[2]
CONFIRM_S = 0.7
"""As in `panel.js`: a stop that the machine has not met by then is said not to be confirmed; what
comes later takes that back."""
TRIES = 8
"""As in `panel.js`: a stop that was answered by nobody is sent again."""
STALL = b"\x13"
"""Ctrl-S."""


class Stopped(NamedTuple):
    """What came of a stop that was pressed on the page."""

    rest_s: float
    """From pressing it to the last step pulse; negative when nothing moved any more."""
    is_confirmed: bool
    """What the page says within 0.7 s."""


class Page:
    """What a paired page is sent, in a thread; it connects again as a browser does."""

    def __init__(self, port: int, cookie: str) -> None:
        self.known: dict[str, Any] = {}
        self._port = port
        self._cookie = cookie
        self._socket: socket.socket | None = None
        self._is_closed = threading.Event()
        self._thread = threading.Thread(target=self._watch)
        self._thread.start()

    def _watch(self) -> None:
        while not self._is_closed.is_set():
            with suppress(OSError, ValueError):
                self._read()
            self._is_closed.wait(RETRY_MS / 1e3)

    def _read(self) -> None:
        host = f"127.0.0.1:{self._port}"
        head = f"GET /events HTTP/1.1\r\nHost: {host}\r\nCookie: {self._cookie}\r\n\r\n"
        with socket.create_connection(("127.0.0.1", self._port), 30.0) as self._socket:
            self._socket.sendall(head.encode())
            with self._socket.makefile("rb") as lines:
                for line in lines:
                    if line.startswith(b"data: "):
                        self.known.update(json.loads(line[len(b"data: ") :]))

    def close(self) -> None:
        """Go away."""
        self._is_closed.set()
        with suppress(OSError):
            if self._socket is not None:
                self._socket.shutdown(socket.SHUT_RDWR)
        self._thread.join()


class PageProcess:
    """The program behind the page.

    Args:
        folder: for its settings, its run files and what it says.
        runs: where the run files go, if elsewhere.
    """

    def __init__(self, folder: Path, runs: Path | None = None) -> None:
        self.runs = runs or folder / "runs"
        self.motor = folder / "motor"
        self.root = ROOT
        self.held: list[socket.socket] = []
        """Connections of others, closed in the end."""
        self.said = ""
        self._is_read = True
        settings = folder / "rig.toml"
        settings.write_text(commented_toml(quick_settings(late_pulse_ms=200.0)), "utf-8")
        self.words = [sys.executable, "-m", "tests.faults.watched", str(self.motor)]
        self.words += ["panel", "--twin", "--seed", "4", "--port", "0", "--open-to-network"]
        self.words += ["--rig", str(settings), "--out", str(self.runs)]
        self.terminal, inner = pty.openpty()
        self.process = subprocess.Popen(
            self.words, cwd=ROOT, stdin=inner, stdout=inner, stderr=inner, start_new_session=True
        )
        os.close(inner)
        self._reader = threading.Thread(target=self._read)
        self._reader.start()
        self.port = int(self.wait_to_hear(r"The page: http://\S+?:(\d+)/")[1])
        self.client = Client(self.port)
        self.pair(self.client)
        self.page = Page(self.port, self.client.cookie)

    def _read(self) -> None:
        while True:
            if not self._is_read:
                time.sleep(0.02)  # noqa: TID251 - a process is watched, not a rig
                continue
            try:
                data = os.read(self.terminal, 4096)
            except OSError:  # all ends of the terminal are closed
                return
            self.said += data.decode(errors="replace")

    def wait_to_hear(self, pattern: str) -> re.Match[str]:
        """The first match in what it has said so far or says yet."""

        def look() -> re.Match[str] | None:
            assert self.process.poll() is None, f"it has ended, and said:\n{self.said}"
            return re.search(pattern, self.said)

        found: re.Match[str] = wait_for(look, pattern)
        return found

    def pair(self, client: Client) -> None:
        """Type the code that the terminal shows."""
        code = self.wait_to_hear(r"Pairing code for one device: (\d{4} \d{4})")[1]
        assert client.post("/pair", {"code": code}).status == 202

    def begin(self, runs: int = 3, *, ready: bool = True) -> None:
        """Begin a series."""
        asked = self.client.post("/series", {"runs": str(runs), "bag": "Heron 1", "ready": ready})
        assert asked.status == 202, asked.data

    @property
    def state(self) -> str:
        """As the page shows it."""
        return str(self.page.known.get("state", {}).get("word", "")).lower()

    def wait_until(self, state: str) -> None:
        """Wait for a state, and for half a second in it where something moves."""
        wait_for(lambda: self.state in (state, "halted"), state)
        assert self.state == state
        if state in ("homing", "raising", "lowering"):
            time.sleep(0.3)  # noqa: TID251 - a process is watched, not a rig

    def stall(self) -> None:
        """Ctrl-S at the terminal, which nobody reads any more."""
        os.write(self.terminal, STALL)
        self._is_read = False

    def end_stall(self) -> None:
        """Somebody comes back to the terminal."""
        with suppress(OSError):
            os.write(self.terminal, b"\x11")
        self._is_read = True

    @property
    def web(self) -> int:
        """Number of the web server's process."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
        found = [*children.split()]
        for thread in Path(f"/proc/{self.process.pid}/task").iterdir():
            with suppress(OSError):
                found += (thread / "children").read_text().split()
        return int(next(number for number in found if _is_web(number)))

    def press_stop(self) -> Stopped:
        """Press Stop on the paired page, and see what the motor does and what the page says."""
        before: list[int] = []

        def post() -> None:
            for _ in range(TRIES):
                with suppress(Exception):
                    before.append(self.client.post("/stop").document["before"])
                    return
                time.sleep(0.25)  # noqa: TID251 - as the page does

        pressed_s = time.monotonic()
        posting = threading.Thread(target=post, daemon=True)
        posting.start()
        while time.monotonic() < pressed_s + CONFIRM_S and not self._is_met(before):
            time.sleep(0.01)  # noqa: TID251 - a process is watched, not a rig
        is_confirmed = self._is_met(before)
        last_s = Watch.read(self.motor).last_pulse_s
        while (quiet_s := time.monotonic() - max(last_s, pressed_s)) < 0.7:
            time.sleep(0.8 - quiet_s)  # noqa: TID251 - a process is watched, not a rig
            last_s = Watch.read(self.motor).last_pulse_s
            if time.monotonic() > pressed_s + 15.0:
                break
        return Stopped(last_s - pressed_s, is_confirmed)

    def _is_met(self, before: list[int]) -> bool:
        return bool(before) and self.page.known.get("stop", {}).get("count", 0) > before[0]

    def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """End it; the exit code."""
        self.process.send_signal(number)
        return self.process.wait(30.0)

    def close(self) -> None:
        """Leave nothing behind."""
        self.end_stall()
        self.process.kill()
        self.process.wait()
        self.page.close()
        for call in self.held:
            call.close()
        wait_for(lambda: not self._reader.is_alive(), "the terminal's end")
        os.close(self.terminal)


def _is_web(number: str) -> bool:
    try:
        return b"rig.panel.web" in Path(f"/proc/{number}/cmdline").read_bytes()
    except OSError:
        return False


@contextmanager
def page_process(folder: Path, runs: Path | None = None) -> Iterator[PageProcess]:
    """The program, until the block ends."""
    opened = PageProcess(folder, runs)
    try:
        yield opened
    finally:
        opened.close()


def strangers(port: int, n: int, addresses: int) -> list[socket.socket]:
    """Pages that are not paired, from several addresses of this computer; those let in or not."""
    calls = []
    for number in range(n):
        source = (f"127.0.0.{2 + number % addresses}", 0)
        with suppress(OSError):
            call = socket.create_connection(("127.0.0.1", port), 10.0, source)
            call.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
            calls.append(call)
    return calls


def guess(port: int, times: int) -> None:
    """Strangers type wrong codes, of which the terminal is told."""
    for number in range(times):
        body = b'{"code": "00"}'
        with suppress(OSError):
            source = (f"127.0.0.{50 + number}", 0)
            with socket.create_connection(("127.0.0.1", port), 10.0, source) as call:
                call.sendall(
                    f"POST /pair HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: {len(body)}"
                    "\r\nContent-Type: application/json\r\n\r\n".encode()
                    + body
                )
                call.recv(1000)
