"""All that a command says goes through one queue to a thread of its own.

A terminal that is stalled (Ctrl-S, a dead connection, a full pipe) then costs lines, never
control: nobody who moves a board waits for it. Commands that move nothing wait as usual.
"""

import io
import os
import select
import sys
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

MOST = 2000
"""Pieces that are kept for a terminal that takes none; the next ones are left out."""
BATCH = 200
"""Pieces that are written in one go."""
LAST_S = 2.0
"""After a signal the last lines get so long; the program ends without them then."""


class Stream:
    """Stands for stdout or stderr: what is written goes into the queue, a line at a time."""

    def __init__(self, terminal: "Terminal", below: Any) -> None:
        self.error: OSError | None = None
        """Why it takes nothing any more."""
        self._terminal = terminal
        self._below = below
        self._line = ""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._below, name)

    def write(self, text: str) -> int:
        """Take text; it is passed on with the end of its line, or by `flush`."""
        if not isinstance(text, str):
            raise TypeError("text is written here, no bytes")
        self._line += text
        if "\n" in text:
            self.flush()
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Take several texts."""
        for line in lines:
            self.write(line)

    def flush(self) -> None:
        """Pass on what was written; returns before the terminal has it."""
        line, self._line = self._line, ""
        if line:
            self._terminal.put(self, line)

    def push(self, text: str) -> None:
        """Write to the terminal itself, however long that takes."""
        try:
            number = self._below.fileno()
        except (AttributeError, io.UnsupportedOperation):
            self._below.write(text)
            self._below.flush()
            return
        # Past the buffer below, whose lock a stalled write would hold at the end of the program.
        data = memoryview(text.encode(self._below.encoding or "utf-8", "backslashreplace"))
        while data:
            try:
                data = data[os.write(number, data) :]
            except BlockingIOError:  # whoever shares this terminal made it so
                select.select([], [number], [])


class Terminal:
    """The queue and its thread; open it with `queued`."""

    def __init__(self) -> None:
        self.left_out = 0
        """Pieces that the terminal did not take in time."""
        self.is_waited_for = True
        self.out = Stream(self, sys.stdout)
        self.err = Stream(self, sys.stderr)
        self._pieces: deque[tuple[Stream, str]] = deque()
        self._n_writing = 0
        self._ends = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="terminal", daemon=True)

    def start(self) -> None:
        """Begin to write."""
        self._thread.start()

    def put(self, stream: Stream, text: str) -> None:
        """Queue a piece; when there is no room, wait or leave it out.

        Raises:
            OSError: nobody reads this output any more, and nothing moves.
        """
        with self._changed:
            if self.is_waited_for:
                self._changed.wait_for(lambda: len(self._pieces) < MOST or not self.is_waited_for)
                if stream.error is not None and stream is self.out:
                    raise stream.error
            if len(self._pieces) >= MOST:
                self.left_out += 1
                return
            self._pieces.append((stream, text))
            self._changed.notify_all()

    def drain(self, patience_s: float | None) -> bool:
        """Wait until all is written, without end for None; False when that took too long."""
        with self._changed:
            return self._changed.wait_for(
                lambda: not self._pieces and not self._n_writing, patience_s
            )

    def stop(self) -> None:
        """End the thread if it can end; one that hangs in a write ends with the program."""
        with self._changed:
            self._ends = True
            self._pieces.clear()
            self._changed.notify_all()
            has_hung = self._n_writing > 0
        if not has_hung:
            self._thread.join()

    def _work(self) -> None:
        while True:
            with self._changed:
                self._n_writing = 0
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._pieces or self._ends)
                if not self._pieces:
                    return
                stream, text = self._batch()
            if stream.error is not None:
                continue
            try:
                stream.push(text)
            except (OSError, ValueError) as error:
                stream.error = error if isinstance(error, OSError) else OSError(str(error))

    def _batch(self) -> tuple[Stream, str]:
        """The next pieces of one stream, and what is to be said of those that are missing."""
        stream = self._pieces[0][0]
        texts: list[str] = []
        while self._pieces and self._pieces[0][0] is stream and len(texts) < BATCH:
            texts.append(self._pieces.popleft()[1])
        self._n_writing = len(texts)
        if self.left_out and not self._pieces:
            texts.append(f"({self.left_out} lines are left out: the terminal took none.)\n")
            self.left_out = 0
        return stream, "".join(texts)


_open: list[Terminal] = []


@contextmanager
def queued() -> Iterator[Terminal]:
    """Queue stdout and stderr until the block ends; who opens it drains it."""
    if _open:
        yield _open[0]
        return
    terminal = Terminal()
    before = sys.stdout, sys.stderr
    for stream in before:
        stream.flush()
    terminal.start()
    _open.append(terminal)
    sys.stdout, sys.stderr = terminal.out, terminal.err
    try:
        yield terminal
    finally:
        sys.stdout, sys.stderr = before
        _open.clear()
        terminal.stop()


@contextmanager
def unwaited() -> Iterator[None]:
    """While this lasts nobody waits for the terminal: lines that it does not take are left out."""
    terminals = list(_open)
    for terminal in terminals:
        terminal.is_waited_for = False
    try:
        yield
    finally:
        for terminal in terminals:
            terminal.is_waited_for = True
