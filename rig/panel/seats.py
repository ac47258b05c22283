"""Who may do what: pairing by a code from the rig's terminal, and one controller at a time.

Everybody may look and everybody may stop. To start anything a browser must be paired and have the
controls; any paired device may take them over, and the previous one is notified.
"""

import hmac
import secrets
import threading
from collections import OrderedDict, deque
from collections.abc import Callable
from typing import Literal, NamedTuple

from msgspec import Struct

CODE_DIGITS = 8
TRIES = 5
"""Wrong codes from one address within `TRIES_S`; then it must wait."""
TRIES_ALL = 20
"""Wrong codes from all addresses within `TRIES_S`."""
TRIES_S = 60.0
TRIES_PER_CODE = 10
"""After so many wrong ones there is a new code."""
MAX_SESSIONS = 32
MAX_ADDRESSES = 256
AWAY_S = 20.0
"""A controller whose page has been gone for so long keeps the controls from nobody."""

Role = Literal["watcher", "paired", "controller"]


class RefusedError(Exception):
    """What was asked is refused; the text says why and what to do, for the page.

    Args:
        text: for people.
        status: of the answer, as HTTP counts them.
    """

    def __init__(self, text: str, status: int = 403) -> None:
        super().__init__(text)
        self.status = status


class Seat(NamedTuple):
    """Where one browser stands."""

    role: Role
    name: str
    """`device 2`; empty for one that is not paired."""
    holder: str
    """Who has the controls; empty when nobody has."""


class KeptSeats(Struct, frozen=True):
    """What must outlast a web server's life: the code that is shown, and who is paired."""

    code: str
    n_paired: int
    sessions: tuple[tuple[str, int], ...]
    """Token and number, in order of their last use."""
    holder: str | None


class _Session:
    def __init__(self, number: int, seen_s: float) -> None:
        self.number = number
        self.name = f"device {number}"
        self.pages = 0
        self.seen_s = seen_s


class Seats:
    """Sessions of browsers; every method may be called from any thread.

    Args:
        time_s: tells the monotonic time.
        needs_code: whether a browser is paired by the code; otherwise by watching.
        announce: gets the code, for the rig's terminal.
        keep: gets what must be kept, at each change.
        kept: from the life before.
    """

    def __init__(
        self,
        time_s: Callable[[], float],
        *,
        needs_code: bool,
        announce: Callable[[str], None] = lambda _: None,
        keep: Callable[[KeptSeats], None] = lambda _: None,
        kept: KeptSeats | None = None,
    ) -> None:
        self.needs_code = needs_code
        self._keep = keep
        self._time_s = time_s
        self._announce = announce
        self._lock = threading.RLock()
        self._sessions: OrderedDict[str, _Session] = OrderedDict()
        self._n_paired = 0
        self._holder: str | None = None
        self._wrong: OrderedDict[str, deque[float]] = OrderedDict()
        self._wrong_all: deque[float] = deque(maxlen=TRIES_ALL)
        self._n_wrong = 0
        self._code = ""
        if kept is not None:
            self._code, self._n_paired, self._holder = kept.code, kept.n_paired, kept.holder
            for token, number in kept.sessions:
                self._sessions[token] = _Session(number, time_s())
        elif needs_code:
            self._new_code("Pairing code for one device")

    def _new_code(self, why: str) -> None:
        self._code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
        self._n_wrong = 0
        half = CODE_DIGITS // 2
        self._have_kept()
        self._announce(f"{why}: {self._code[:half]} {self._code[half:]}")

    def _have_kept(self) -> None:
        sessions = tuple((token, one.number) for token, one in self._sessions.items())
        self._keep(KeptSeats(self._code, self._n_paired, sessions, self._holder))

    # -- pairing --------------------------------------------------------------------------------

    def pair(self, code: str, address: str) -> str:
        """The token of a new session, for the right code.

        Raises:
            RefusedError: a wrong code, or too many of them.
        """
        with self._lock:
            self._check_tries(address)
            digits = "".join(c for c in code[:40] if c in "0123456789")
            if not hmac.compare_digest(digits, self._code):
                self._note_wrong(address)
                raise RefusedError("That is not the code on the rig's terminal; look again.")
            token = self.admit()
            self._new_code(f"{self._sessions[token].name} is paired. Code for the next one")
            return token

    def _check_tries(self, address: str) -> None:
        now_s = self._time_s()
        mine = self._wrong.get(address, deque())
        for times, limit in ((mine, TRIES), (self._wrong_all, TRIES_ALL)):
            while times and now_s - times[0] > TRIES_S:
                times.popleft()
            if len(times) >= limit:
                wait_s = TRIES_S - (now_s - times[0])
                raise RefusedError(f"Too many wrong codes; try again in {wait_s:.0f} s.", 429)

    def _note_wrong(self, address: str) -> None:
        now_s = self._time_s()
        self._wrong.setdefault(address, deque(maxlen=TRIES)).append(now_s)
        self._wrong.move_to_end(address)
        while len(self._wrong) > MAX_ADDRESSES:
            self._wrong.popitem(last=False)
        self._wrong_all.append(now_s)
        self._n_wrong += 1
        if self._n_wrong >= TRIES_PER_CODE:
            self._new_code("Wrong codes were tried; the old one is void. New code")

    def admit(self) -> str:
        """A new session without a code; the one that was unused for longest may go for it."""
        with self._lock:
            while len(self._sessions) >= MAX_SESSIONS:
                idle = [
                    token
                    for token, session in self._sessions.items()
                    if not session.pages and token != self._holder
                ]
                if not idle:
                    raise RefusedError("Too many devices are paired; close some pages.", 429)
                del self._sessions[idle[0]]
            self._n_paired += 1
            token = secrets.token_urlsafe(32)
            self._sessions[token] = _Session(self._n_paired, self._time_s())
            self._have_kept()
            return token

    def knows(self, token: str | None) -> bool:
        """Whether this is the token of a session."""
        with self._lock:
            return token is not None and token in self._sessions

    # -- the controls ---------------------------------------------------------------------------

    def place(self, token: str | None) -> Seat:
        """Where the browser with this token stands."""
        with self._lock:
            holder = self._present_holder()
            by = "" if holder is None else self._sessions[holder].name
            if token is None or token not in self._sessions:
                return Seat("watcher", "", by)
            name = self._sessions[token].name
            return Seat("controller" if holder == token else "paired", name, by)

    def claim(self, token: str | None, *, takes_over: bool = False) -> str:
        """Have the controls, or get them when nobody has; returns the device's name.

        Raises:
            RefusedError: not paired, or another one has them and `takes_over` is false.
        """
        with self._lock:
            if token is None or token not in self._sessions:
                raise RefusedError(
                    "This device is not paired; enter the code from the rig's terminal."
                )
            holder = self._present_holder()
            if holder not in (None, token) and not takes_over:
                name = self._sessions[holder].name if holder else ""
                raise RefusedError(
                    f"{name.capitalize()} has the controls; take them over first.", 409
                )
            self._holder = token
            self._touch(token)
            self._have_kept()
            return self._sessions[token].name

    def page_opened(self, token: str | None) -> None:
        """A page of this session begins to watch."""
        self._count(token, +1)

    def page_closed(self, token: str | None) -> None:
        """It has gone."""
        self._count(token, -1)

    def _count(self, token: str | None, change: int) -> None:
        with self._lock:
            if token is not None and token in self._sessions:
                self._sessions[token].pages += change
                self._touch(token)

    def _touch(self, token: str) -> None:
        self._sessions[token].seen_s = self._time_s()
        self._sessions.move_to_end(token)

    def _present_holder(self) -> str | None:
        holder = self._holder
        if holder is None or holder not in self._sessions:
            return None
        session = self._sessions[holder]
        if not session.pages and self._time_s() - session.seen_s > AWAY_S:
            return None
        return holder
