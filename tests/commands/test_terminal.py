"""What is said goes through a queue: a terminal that takes nothing holds nothing up that moves."""

import errno
import logging
import os
import select
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from rig.commands.terminal import MOST, Terminal, queued, unwaited


class Pipe:
    """Stands for a terminal; nobody reads it but the test."""

    def __init__(self) -> None:
        self.end, inner = os.pipe()
        self.inner = os.fdopen(inner, "w", encoding="utf-8")

    def read(self) -> str:
        """What is there by now."""
        text = b""
        while select.select([self.end], [], [], 0.0)[0]:
            if not (data := os.read(self.end, 65536)):
                break
            text += data
        return text.decode()

    def read_on(self) -> None:
        """Somebody reads again, in a thread that ends with the pipe."""
        self.got = ""

        def read() -> None:
            while data := os.read(self.end, 65536):
                self.got += data.decode()

        self.reader = threading.Thread(target=read)
        self.reader.start()


@contextmanager
def opened(monkeypatch: pytest.MonkeyPatch, name: str) -> Iterator[tuple[Pipe, Terminal]]:
    """A terminal whose stdout or stderr is a pipe."""
    pipe = Pipe()
    monkeypatch.setattr(sys, name, pipe.inner)
    with queued() as terminal:
        try:
            yield pipe, terminal
        finally:
            if not hasattr(pipe, "reader"):
                pipe.read_on()
            terminal.drain(10.0)
    pipe.inner.close()
    pipe.reader.join(10.0)
    os.close(pipe.end)


LONG = "x" * 200


def test_a_terminal_that_takes_nothing_holds_nothing_up(monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(monkeypatch, "stderr") as (pipe, terminal):
        with unwaited():
            for number in range(3 * MOST):
                print(f"{number} {LONG}", file=sys.stderr, flush=True)
            assert terminal.left_out > 0
        assert not terminal.drain(0.0)
        pipe.read_on()
        assert terminal.drain(10.0)
        assert terminal.left_out == 0, "it was told"
    lines = pipe.got.splitlines()
    assert lines[0] == f"0 {LONG}"
    assert MOST < len(lines) < 3 * MOST, "some are left out, each of them whole"
    assert all(line.endswith(LONG) for line in lines[:-1])
    assert lines[-1].endswith("lines are left out: the terminal took none.)")
    assert int(lines[-1].split()[0][1:]) + len(lines) - 1 == 3 * MOST


def test_where_nothing_moves_a_slow_reader_gets_every_line(monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(monkeypatch, "stdout") as (pipe, terminal):
        pipe.read_on()
        for number in range(3 * MOST):
            print(number)
        assert terminal.drain(None)
    assert pipe.got == "".join(f"{number}\n" for number in range(3 * MOST))


def test_who_reads_no_more_is_no_reason_to_stop_what_moves(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pipe = Pipe()
    os.close(pipe.end)
    monkeypatch.setattr(sys, "stdout", pipe.inner)
    with queued() as terminal:
        with unwaited():
            print("a row")
            terminal.drain(10.0)
            print("another one")
        assert terminal.out.error is not None
        assert terminal.out.error.errno == errno.EPIPE
        with pytest.raises(BrokenPipeError):
            print("the next one")
        print("what stderr is told all the same", file=sys.stderr)
    pipe.inner.close()


def test_lines_are_whole_and_a_question_is_there_before_its_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with opened(monkeypatch, "stdout") as (pipe, terminal):
        sys.stdout.write("a half")
        assert terminal.drain(10.0)
        assert pipe.read() == ""
        print(" and another half")
        print("What? ", end="", flush=True)
        assert terminal.drain(10.0)
        assert pipe.read() == "a half and another half\nWhat? "
        sys.stdout.writelines(["°\n", "\ud800\n"])
        assert terminal.drain(10.0)
        assert pipe.read() == "°\n\\ud800\n"


def test_it_stands_for_the_stream_below(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks for a size, an encoding or a terminal gets the true answer."""
    with opened(monkeypatch, "stderr") as (pipe, _):
        stream: Any = sys.stderr
        assert (stream.fileno(), stream.isatty()) == (pipe.inner.fileno(), False)
        assert stream.encoding == "utf-8"
        with pytest.raises(TypeError):
            stream.write(b"bytes")
        handler = logging.StreamHandler()
        handler.emit(logging.LogRecord("x", 30, "x", 1, "a warning", (), None))


def test_afterwards_the_streams_are_those_from_before() -> None:
    before = sys.stdout, sys.stderr
    with queued() as first, queued() as second:
        assert second is first, "a command within a command uses the same one"
        assert sys.stdout is not before[0]
    assert (sys.stdout, sys.stderr) == before


def test_a_terminal_that_hangs_does_not_keep_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(monkeypatch, "stderr") as (pipe, terminal):
        with unwaited():
            for _ in range(MOST):
                print(LONG, file=sys.stderr)
        assert not terminal.drain(0.05)
        terminal.stop()
        assert any(thread.name == "terminal" for thread in threading.enumerate())
        pipe.read_on()
