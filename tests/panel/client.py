"""Asks a page as a program does, with whatever headers a test wants."""

import json
from http.client import HTTPConnection
from typing import Any, NamedTuple


class Answer(NamedTuple):
    """What came back."""

    status: int
    headers: dict[str, str]
    data: bytes

    @property
    def document(self) -> Any:
        return json.loads(self.data)

    @property
    def text(self) -> str:
        return str(self.document["text"])


class Client:
    """One browser, as far as the server can tell; keeps its cookie.

    Args:
        port: of the page on this computer.
        host: sent as `Host`.
    """

    def __init__(self, port: int, host: str = "") -> None:
        self.port = port
        self.host = host or f"127.0.0.1:{port}"
        self.cookie = ""

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        """Send a request on a connection of its own."""
        sent = {"Host": self.host, **{k.replace("_", "-"): v for k, v in headers.items()}}
        if self.cookie:
            sent["Cookie"] = self.cookie
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            found = {k.lower(): v for k, v in answer.getheaders()}
            data = b"" if "event-stream" in found.get("content-type", "") else answer.read()
        finally:
            connection.close()
        if "set-cookie" in found:
            self.cookie = found["set-cookie"].split(";")[0]
        return Answer(answer.status, found, data)

    def post(self, path: str, document: Any = None, **headers: str) -> Answer:
        """Send JSON as the page does."""
        body = json.dumps({} if document is None else document).encode()
        return self.ask("POST", path, body, **{"Content_Type": "application/json", **headers})

    def look(self, units: str = "metric") -> Any:
        """The sections of the page at this moment."""
        return self.ask("GET", f"/snapshot?units={units}").document

    def watch_once(self) -> Answer:
        """Open the stream for a moment; without a code that pairs."""
        return self.ask("GET", "/events")
