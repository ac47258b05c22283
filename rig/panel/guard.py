"""Keeps strangers out: whose page a request comes from, and how many connections one may hold.

A page of another site that is open in the same browser can send requests here. They are recognized
by `Origin` and `Sec-Fetch-Site`, and by the `Host` under which a name that was bent to this address
would ask (DNS rebinding).
"""

import ipaddress
import socket
from collections import Counter, OrderedDict
from collections.abc import Iterable, Mapping
from urllib.parse import urlsplit

from rig.panel.seats import RefusedError

MAX_PER_ADDRESS = 24
MAX_OPEN = 256
"""Connections of all addresses; a process may hold 1024 files, and each costs one."""
MAX_KNOWN = 32
"""Addresses of paired devices that are let in beyond that."""
REQUEST_S = 10.0
"""A connection that has sent no whole request for so long is closed."""
BODY_S = 10.0
"""A body takes no longer."""
UNHEARD_MS = 20_000
"""A device that acknowledges nothing for so long has gone, and its place is free."""

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self';"
        " connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""Sent with every answer."""

LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


def own_names() -> frozenset[str]:
    """Names under which this computer may be called in its own network."""
    name = socket.gethostname().lower().split(".")[0]
    return frozenset({name, f"{name}.local"})


class Guard:
    """Judges requests by their headers.

    Args:
        names: host names that are taken, lower case.
        any_address: a host that is written as an address is taken as well.
        is_encrypted: the page is served over TLS.
    """

    def __init__(
        self, names: Iterable[str], *, any_address: bool, is_encrypted: bool = False
    ) -> None:
        self._names = frozenset(names)
        self._any_address = any_address
        self._scheme = "https" if is_encrypted else "http"

    def check_host(self, headers: Mapping[str, str]) -> None:
        """Refuse a request that was sent to a name that is not ours.

        Raises:
            RefusedError: 421.
        """
        host = headers.get("host", "")
        try:
            name = (urlsplit(f"//{host}").hostname or "").rstrip(".")
        except ValueError:
            name = ""
        if name not in self._names and not (self._any_address and _is_address(name)):
            known = ", ".join(sorted(self._names))
            raise RefusedError(
                f"This rig does not answer to that name; use its address or {known}.", 421
            )

    def check_origin(self, headers: Mapping[str, str]) -> None:
        """Refuse what a page of another site sends; a client that is not a browser names none.

        Raises:
            RefusedError: 403.
        """
        site = headers.get("sec-fetch-site", "same-origin")
        origin = headers.get("origin")
        host = headers.get("host", "")
        is_own = origin is None or origin.lower() == f"{self._scheme}://{host}".lower()
        if site not in ("same-origin", "none") or not is_own:
            raise RefusedError("This came from a page of another site; open the rig's own page.")

    def check_json(self, headers: Mapping[str, str]) -> None:
        """Refuse a body that a plain form of any site could send.

        Raises:
            RefusedError: 415.
        """
        kind = headers.get("content-type", "").split(";")[0].strip().lower()
        if kind != "application/json":
            raise RefusedError("Requests are sent as application/json.", 415)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class Doorkeeper:
    """Counts the open connections of each address, and keeps room for paired devices."""

    def __init__(self, most: int = MAX_PER_ADDRESS, most_open: int = MAX_OPEN) -> None:
        self._most = most
        self._most_open = most_open
        self._open: Counter[str] = Counter()
        self._known: OrderedDict[str, None] = OrderedDict()

    def welcome(self, address: str) -> None:
        """A paired device asks from this address: there is always room for it."""
        self._known[address] = None
        self._known.move_to_end(address)
        while len(self._known) > MAX_KNOWN:
            self._known.popitem(last=False)

    def comes(self, address: str) -> bool:
        """Another connection; False when that is one too many, and it does not count then."""
        is_full = self._open.total() >= self._most_open and address not in self._known
        if is_full or self._open[address] >= self._most:
            return False
        self._open[address] += 1
        return True

    def goes(self, address: str) -> None:
        """A connection that was let in has ended."""
        self._open[address] -= 1
        if self._open[address] <= 0:
            del self._open[address]
