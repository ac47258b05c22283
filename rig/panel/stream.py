"""Sends snapshots to every page that watches: encoded once, only what changed, never queued.

Each page gets the sections that it has not seen in their newest form, 20 times a second at most. A
slow page skips what it missed.
"""

import asyncio
import time
from collections import Counter
from collections.abc import AsyncGenerator, Callable
from contextlib import suppress
from typing import Any

import msgspec

from rig.panel.render import actions, sections, slides_section
from rig.panel.seats import RefusedError, Seats
from rig.panel.view import Snapshot
from rig.panel.words import UNITS, Units

RETRY_MS = 300
"""A browser that lost the connection tries again after this."""
LOOK_S = 0.5
"""A machine that says nothing is noticed so soon."""
QUIET_S = 1.0
"""Something is sent at least this often, so that a page can tell a lost connection."""
MAX_WATCHERS = 48
MAX_STRANGERS = 32
"""Of these, pages that are not paired: the other places are kept for those that are."""
MAX_STRANGERS_PER_ADDRESS = 8
LIVE_S = 1.0
"""A machine that has shown no sign of life for longer is not live: what is shown is history."""


class _Sections:
    """Encoded sections in one system of units, each with the number of its last change."""

    def __init__(self, hints: dict[str, str]) -> None:
        self.version = 1
        self._parts: dict[str, tuple[int, bytes]] = {"form": (1, msgspec.json.encode(hints))}
        self._dots: Any = None
        self._joined: dict[int, bytes] = {}

    def update(self, snap: Snapshot, units: Units) -> None:
        """Take in another snapshot."""
        parts = sections(snap, units)
        if snap.dots != self._dots:
            self._dots = snap.dots
            parts["slides"] = slides_section(snap)
        encoded = {name: msgspec.json.encode(part) for name, part in parts.items()}
        changed = {n: d for n, d in encoded.items() if self._parts.get(n, (0, b""))[1] != d}
        if changed:
            self.version += 1
            self._joined.clear()
            self._parts.update({name: (self.version, data) for name, data in changed.items()})

    def since(self, version: int) -> bytes:
        """Members of a JSON object for all sections that changed after this version."""
        joined = self._joined.get(version)
        if joined is None:
            joined = b",".join(
                b'"%b":%b' % (name.encode(), data)
                for name, (changed, data) in self._parts.items()
                if changed > version
            )
            self._joined[version] = joined
        return joined


class Hub:
    """Between the link to the machine and the pages; all of it runs in the server's loop.

    Args:
        seats: who may do what.
        hints: what an empty field of the form stands for, in these units.
        time_s: tells the monotonic time.
    """

    def __init__(
        self,
        seats: Seats,
        hints: Callable[[Units], dict[str, str]] = lambda _: {},
        time_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._time_s = time_s
        self.latest: Snapshot | None = None
        self.watchers = 0
        self._seats = seats
        self._strangers: Counter[str] = Counter()
        self._beat = -1
        self._beat_s = 0.0
        self._tick = asyncio.Event()
        self._is_closing = False
        self._rendered: dict[Units, _Sections] = {units: _Sections(hints(units)) for units in UNITS}
        self._rendered_of: dict[Units, Snapshot] = {}

    def publish(self, snap: Snapshot) -> None:
        """Take in another snapshot, and send what is new in it to every page."""
        self.latest = snap
        if snap.beat != self._beat:
            self._beat, self._beat_s = snap.beat, self._time_s()
        self._wake()

    def silent_s(self) -> int:
        """How long the machine's control loop has shown no sign of life, 0 while it is live."""
        silent_s = self._time_s() - self._beat_s
        return max(1, int(silent_s)) if silent_s > LIVE_S else 0

    def check_room(self, token: str | None, address: str) -> None:
        """Refuse a page that would take a place which is kept for another.

        Raises:
            RefusedError: 503.
        """
        is_full = self.watchers >= MAX_WATCHERS
        if not self._seats.knows(token):
            of_address = self._strangers[address]
            is_full |= self._strangers.total() >= MAX_STRANGERS
            is_full |= of_address >= MAX_STRANGERS_PER_ADDRESS
        if is_full:
            raise RefusedError("Too many pages watch already; close one.", 503)

    def close(self) -> None:
        """End every stream."""
        self._is_closing = True
        self._wake()

    def _wake(self) -> None:
        tick, self._tick = self._tick, asyncio.Event()
        tick.set()

    def sections(self, units: Units) -> _Sections | None:
        """The sections in these units, brought up to the latest snapshot; None before any."""
        snap, rendered = self.latest, self._rendered[units]
        if snap is None:
            return None
        if self._rendered_of.get(units) is not snap:
            rendered.update(snap, units)
            self._rendered_of[units] = snap
        return rendered

    async def stream(
        self, token: str | None, units: Units, address: str = ""
    ) -> AsyncGenerator[bytes, None]:
        """Server-sent events for one page, until it goes or the server ends."""
        loop = asyncio.get_running_loop()
        is_stranger = not self._seats.knows(token)
        self.watchers += 1
        self._strangers[address] += is_stranger
        self._seats.page_opened(token)
        try:
            yield b"retry: %d\n\n" % RETRY_MS
            seen, seen_actions, sent_s = 0, b"", float("-inf")
            seen_silent_s: int | None = None
            while not self._is_closing:
                tick, snap, parts = self._tick, self.latest, self.sections(units)
                news = []
                if snap is not None and parts is not None:
                    if parts.version > seen:
                        news.append(parts.since(seen))
                        seen = parts.version
                    silent_s = self.silent_s()
                    if silent_s != seen_silent_s:
                        news.append(b'"live":{"silent_s":%d}' % silent_s)
                        seen_silent_s = silent_s
                    place = self._seats.place(token)
                    may = msgspec.json.encode(actions(snap, place, is_live=not silent_s))
                    if may != seen_actions:
                        news.append(b'"actions":' + may)
                        seen_actions = may
                now_s = loop.time()
                if news or now_s - sent_s >= QUIET_S:
                    sent_s = now_s
                    yield b"data: {%b}\n\n" % b",".join(news)
                with suppress(TimeoutError):
                    async with asyncio.timeout(LOOK_S):
                        await tick.wait()
        finally:
            self.watchers -= 1
            self._strangers[address] -= is_stranger
            self._seats.page_closed(token)
