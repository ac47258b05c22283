"""Between the machine's process and the web server's: one socket, whole messages, never waited on.

The web server has a process of its own, so that no page, however many there are, takes the
interpreter from the thread that makes the step pulses. Snapshots go one way, wishes the other.
"""

import socket
from contextlib import suppress

from msgspec import Struct, msgpack

from rig.panel.form import SeriesForm, Usual
from rig.panel.seats import KeptSeats
from rig.panel.view import Snapshot
from rig.procedures.studied import StudySeries

MAX_MESSAGE = 64 * 1024
"""A snapshot with all its dots takes a few thousand bytes."""


class Setup(Struct, frozen=True, kw_only=True):
    """The first message to the web server: what it must know of the rig."""

    usual: Usual
    is_open: bool
    port: int
    study: str = ""
    """Its folder; empty for none."""
    kept: KeptSeats | None = None
    """Pairings of the web server's life before; None in its first."""
    certificate: str = ""
    """Path of the certificate to serve with; empty for plain HTTP."""
    key: str = ""
    """Path of its key."""


class _Message(Struct, frozen=True, tag=True):
    """A message from the web server."""


class Stop(_Message, frozen=True):
    """Stop was pressed on a page."""

    who: str


class Start(_Message, frozen=True):
    """Start was pressed on a page."""


class SeriesMessage(_Message, frozen=True):
    """Request to begin a series; the form has been checked."""

    form: SeriesForm


class EveningMessage(_Message, frozen=True, kw_only=True):
    """Request to make these series one after another."""

    series: list[StudySeries]


class Resume(_Message, frozen=True):
    """Request to resume the unfinished series."""


class Reset(_Message, frozen=True):
    """The fault has been dealt with."""


class Tell(_Message, frozen=True):
    """A line for the rig's terminal."""

    text: str


class Alive(_Message, frozen=True):
    """A sign of life."""


class Keep(_Message, frozen=True):
    """Pairings, for the web server's next life."""

    kept: KeptSeats


Message = Stop | Start | SeriesMessage | EveningMessage | Resume | Reset | Tell | Keep | Alive


class LinkFullError(Exception):
    """The machine's process takes no message now: it hangs, or was stopped."""


encode = msgpack.encode
decode_setup = msgpack.Decoder(Setup).decode
decode_snapshot = msgpack.Decoder(Snapshot).decode
decode_message = msgpack.Decoder(Message).decode


def pair() -> tuple[socket.socket, socket.socket]:
    """The two ends; each message is received whole."""
    return socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)


class Asker:
    """The web server's way to the desk: every wish becomes a message.

    Args:
        end: the web server's end.
    """

    def __init__(self, end: socket.socket) -> None:
        self._end = end

    def stop(self, who: str) -> None:
        """Ask for a smooth stop; `who` is told.

        Raises:
            LinkFullError: as from every wish, the machine's process can't be told.
        """
        self._send(Stop(who))

    def start(self) -> None:
        """Press start, so to speak."""
        self._send(Start())

    def series(self, form: SeriesForm) -> None:
        """Ask for a series."""
        self._send(SeriesMessage(form))

    def evening(self, message: EveningMessage) -> None:
        """Ask for several series."""
        self._send(message)

    def resume(self) -> None:
        """Ask for the rest of the unfinished series."""
        self._send(Resume())

    def reset(self) -> None:
        """Report that the fault has been dealt with."""
        self._send(Reset())

    def tell(self, text: str) -> None:
        """A line for the rig's terminal; left out where nobody takes it."""
        with suppress(LinkFullError):
            self._send(Tell(text))

    def alive(self) -> None:
        """Show that the server serves."""
        with suppress(LinkFullError):
            self._send(Alive())

    def keep(self, kept: KeptSeats) -> None:
        """Have the pairings kept; those of the next change are sent again in full."""
        with suppress(LinkFullError):
            self._send(Keep(kept))

    def _send(self, message: Message) -> None:
        """Send and never wait, since all pages would wait as well.

        Raises:
            LinkFullError: it can't be sent.
        """
        try:
            self._end.send(encode(message), socket.MSG_DONTWAIT)
        except OSError as error:
            raise LinkFullError(error.strerror) from error
