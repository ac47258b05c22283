"""Watchers of the page in a process of their own, as phones would be; prints when they saw what.

Started by `panel_latency`; `python -m tests.bench.panel_watchers PORT COUNT` alone prints a JSON
line for each state that a watcher saw, with the monotonic time at which it had read it.
"""

import json
import os
import selectors
import socket
import sys
import time
from typing import Any

AT_EASE = 12
"""Added to the niceness: phones have processors of their own."""


class Watcher:
    """One page, as far as the server can tell."""

    def __init__(self, port: int, number: int) -> None:
        self.number = number
        self.updates = 0
        self.seen: list[tuple[float, bytes]] = []
        self.socket = socket.create_connection(("127.0.0.1", port))
        request = f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"
        self.socket.sendall(request.encode())

    def take(self, at_s: float) -> None:
        """Read what has come; it is looked at afterwards, since one process plays them all."""
        self.seen.append((at_s, self.socket.recv(65536)))

    def words(self) -> list[dict[str, Any]]:
        """The states that it saw."""
        found: list[dict[str, Any]] = []
        text = b""
        for at_s, data in self.seen:
            text += data
            *whole, text = text.split(b"\n\n")
            for event in whole:
                begin = event.find(b"data: ")
                if begin < 0:
                    continue
                self.updates += 1
                state = json.loads(event[begin + 6 :]).get("state")
                if state is not None:
                    found.append({"watcher": self.number, "at_s": at_s, "word": state["word"]})
        return found


def main() -> None:
    """Watch with so many connections until standard input ends."""
    port, n = int(sys.argv[1]), int(sys.argv[2])
    os.nice(AT_EASE)
    selector = selectors.DefaultSelector()
    watchers = [Watcher(port, number) for number in range(n)]
    for watcher in watchers:
        selector.register(watcher.socket, selectors.EVENT_READ, watcher)
    selector.register(sys.stdin, selectors.EVENT_READ)
    while True:
        ready = [key.data for key, _ in selector.select()]
        if None in ready:
            break
        for watcher in ready:
            watcher.take(time.monotonic())
    for watcher in watchers:
        for line in watcher.words():
            print(json.dumps(line))
        print(json.dumps({"watcher": watcher.number, "updates": watcher.updates}))
        watcher.socket.close()


if __name__ == "__main__":
    main()
