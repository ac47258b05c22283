"""A page without a rig and without a server: what it shows, who asks, and what it hands on."""

import asyncio
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlsplit

from rig.control.request import RunRequest
from rig.panel.app import Panel
from rig.panel.course import Course
from rig.panel.guard import LOCAL_NAMES, Guard
from rig.panel.link import Asker, Message
from rig.panel.seats import Seats
from rig.panel.slides import Dot
from rig.panel.stream import Hub
from rig.panel.view import Snapshot
from tests.panel.client import Answer, Client
from tests.panel.jumping import JumpingLoop

COOKIE = "rig_panel_8600"
NOW = datetime(2026, 5, 30, 18, 30, tzinfo=UTC)


def snapshot(**changes: Any) -> Snapshot:
    """What there is to see in the middle of a series."""
    request = RunRequest(
        rate_deg_s=1.0, dwell_s=10.0, gap_mm=8.0, u_gap_mm=1.0, bag_length_mm=152.0,
        u_bag_length_mm=4.0, bag="Heron [red]1", face="slick", repeat=2,
    )  # fmt: skip
    first = Snapshot(
        time_s=1.0, state="raising", angle_deg=12.345, cross_slope_deg=-0.001,
        step_angle_deg=12.3, temperature_c=23.0, relative_humidity_pct=51.2, pressure_hpa=1013.25,
        imu_temperature_c=25.0, beams_broken=(False,), inputs=(), wants="", waits_for_start=False,
        is_busy=True, course=Course(3, 1, 61.0, request),
        dots=(Dot(1, 20.1, 0.2, True, ""), Dot(2, None, None, False, "no slide")),
        notice=None, is_latched=False, unfinished="",
    )  # fmt: skip
    return first._replace(**changes)


IDLE = snapshot(is_busy=False, state="parked")


class Noted(Asker):
    """Keeps the wishes instead of sending them."""

    def __init__(self) -> None:
        self.wishes: list[Message] = []

    def _send(self, message: Message) -> None:
        self.wishes.append(message)


class Stand:
    """The web application with its doors open; close it in the end.

    Args:
        needs_code: whether a browser is paired by a code.
    """

    def __init__(self, *, needs_code: bool = True) -> None:
        self.now_s = 0.0
        self.said: list[str] = []
        self.desk = Noted()
        self.seats = Seats(lambda: self.now_s, needs_code=needs_code, announce=self.said.append)
        self.hub = Hub(self.seats, time_s=lambda: self.now_s)
        self.show(IDLE)
        guard = Guard(LOCAL_NAMES, any_address=False)
        self.welcomed: list[str] = []
        self.app = Panel(
            self.desk, self.hub, self.seats, guard, COOKIE, self.welcomed.append
        ).application()
        self.runner = asyncio.Runner(loop_factory=JumpingLoop)

    def show(self, snap: Snapshot) -> None:
        """Have another snapshot."""
        self.hub.publish(snap)

    def client(self, *, paired: bool = False, address: str = "10.0.0.1") -> "Near":
        """Another browser."""
        client = Near(self, address)
        if paired:
            client.cookie = f"{COOKIE}={self.seats.admit()}"
        return client


class Near(Client):
    """A browser that asks the application itself.

    Args:
        stand: what it asks.
        address: that it asks from.
    """

    def __init__(self, stand: Stand, address: str) -> None:
        super().__init__(8600)
        self._stand = stand
        self._address = address
        self.taken = 0
        """Pieces of the last body that were asked for."""

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        """Send a request; of a stream, the first two pieces are read."""
        return self.ask_in_pieces(method, path, [body or b""], **headers)

    def ask_in_pieces(
        self, method: str, path: str, pieces: Iterable[bytes | float], **headers: str
    ) -> Answer:
        """The same with a body that comes bit by bit; a number stands for a pause, in s."""
        sent = {"Host": self.host, **{k.replace("_", "-"): v for k, v in headers.items()}}
        if self.cookie:
            sent["Cookie"] = self.cookie
        answer = self._stand.runner.run(self._asked(method, path, iter(pieces), sent))
        if "set-cookie" in answer.headers:
            self.cookie = answer.headers["set-cookie"].split(";")[0]
        return answer

    async def _asked(
        self, method: str, path: str, pieces: Iterator[bytes | float], sent: dict[str, str]
    ) -> Answer:
        url = urlsplit(path)
        scope = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.3"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": url.path,
            "raw_path": url.path.encode(),
            "query_string": url.query.encode(),
            "headers": [(k.lower().encode(), v.encode("latin-1")) for k, v in sent.items()],
            "client": (self._address, 50000),
            "server": ("127.0.0.1", 8600),
        }
        self.taken = 0
        has_asked, has_gone = False, asyncio.Event()
        begun: dict[str, Any] = {}
        chunks: list[bytes] = []

        async def receive() -> dict[str, Any]:
            nonlocal has_asked
            if has_asked:
                await has_gone.wait()
                return {"type": "http.disconnect"}
            piece = next(pieces, None)
            if isinstance(piece, float):
                await asyncio.sleep(piece)
                piece = next(pieces, None)
            has_asked = piece is None
            self.taken += not has_asked
            return {"type": "http.request", "body": piece or b"", "more_body": not has_asked}

        async def send(message: Any) -> None:
            if message["type"] == "http.response.start":
                begun.update(message)
            else:
                chunks.append(message.get("body", b""))
                if len(chunks) == 2:
                    has_gone.set()

        await self._stand.app(scope, receive, send)
        found = {k.decode().lower(): v.decode() for k, v in begun["headers"]}
        return Answer(begun["status"], found, b"".join(chunks))
