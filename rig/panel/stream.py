"""Sends snapshots to every page that watches: encoded once, only what changed, never queued.

Each page gets the sections that it has not seen in their newest form, 20 times a second at most. A
slow page skips what it missed.
"""

import asyncio
from collections.abc import AsyncGenerator, Callable
from contextlib import suppress
from typing import Any

import msgspec

from rig.panel.render import actions, sections, slides_section
from rig.panel.seats import Seats
from rig.panel.view import Snapshot
from rig.panel.words import UNITS, Units

RETRY_MS = 1000
"""A browser that lost the connection tries again after this."""
QUIET_S = 1.0
"""Something is sent at least this often, so that a page can tell a lost connection."""
MAX_WATCHERS = 48


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
    """

    def __init__(
        self, seats: Seats, hints: Callable[[Units], dict[str, str]] = lambda _: {}
    ) -> None:
        self.latest: Snapshot | None = None
        self.watchers = 0
        self._seats = seats
        self._tick = asyncio.Event()
        self._is_closing = False
        self._rendered: dict[Units, _Sections] = {units: _Sections(hints(units)) for units in UNITS}
        self._rendered_of: dict[Units, Snapshot] = {}

    def publish(self, snap: Snapshot) -> None:
        """Take in another snapshot, and send what is new in it to every page."""
        self.latest = snap
        self._wake()

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

    async def stream(self, token: str | None, units: Units) -> AsyncGenerator[bytes, None]:
        """Server-sent events for one page, until it goes or the server ends."""
        loop = asyncio.get_running_loop()
        self.watchers += 1
        self._seats.page_opened(token)
        try:
            yield b"retry: %d\n\n" % RETRY_MS
            seen, seen_actions, sent_s = 0, b"", float("-inf")
            while not self._is_closing:
                tick, snap, parts = self._tick, self.latest, self.sections(units)
                news = []
                if snap is not None and parts is not None:
                    if parts.version > seen:
                        news.append(parts.since(seen))
                        seen = parts.version
                    may = msgspec.json.encode(actions(snap, self._seats.place(token)))
                    if may != seen_actions:
                        news.append(b'"actions":' + may)
                        seen_actions = may
                now_s = loop.time()
                if news or now_s - sent_s >= QUIET_S:
                    sent_s = now_s
                    yield b"data: {%b}\n\n" % b",".join(news)
                with suppress(TimeoutError):
                    async with asyncio.timeout(QUIET_S):
                        await tick.wait()
        finally:
            self.watchers -= 1
            self._seats.page_closed(token)
