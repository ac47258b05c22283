"""Watchers of the page in a process of their own, as phones would be; prints when they saw what.

Started by `panel_latency`; `python -m tests.bench.panel_watchers URL_PORT COUNT` alone prints a
JSON line for each state that a watcher saw, with the wall time at which it had it.
"""

import json
import os
import socket
import sys
import threading
import time


def watch(port: int, number: int, out: threading.Lock) -> None:
    """Follow the stream until it ends."""
    with socket.create_connection(("127.0.0.1", port)) as connection:
        request = f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"
        connection.sendall(request.encode())
        text, updates = b"", 0
        while data := connection.recv(65536):
            at_s = time.monotonic()
            text += data
            *whole, text = text.split(b"\n\n")
            for event in whole:
                begin = event.find(b"data: ")
                if begin < 0:
                    continue
                updates += 1
                state = json.loads(event[begin + 6 :]).get("state")
                if state is not None:
                    line = {"watcher": number, "at_s": at_s, "word": state["word"]}
                    with out:
                        print(json.dumps(line), flush=True)
        with out:
            print(json.dumps({"watcher": number, "updates": updates}), flush=True)


def main() -> None:
    """Watch with so many connections until standard input ends."""
    port, n = int(sys.argv[1]), int(sys.argv[2])
    os.nice(5)  # phones have processors of their own
    out = threading.Lock()
    for number in range(n):
        threading.Thread(target=watch, args=(port, number, out), daemon=True).start()
    sys.stdin.read()


if __name__ == "__main__":
    main()
