"""The command line as a whole: how it ends, by an error, by a signal, by a reader that has gone."""

import os
import re
import signal
import sys
from importlib.metadata import version

import pytest

from rig.commands import main as whole
from rig.commands.help import GROUPS
from rig.errors import BadInputError, RigError
from tests.commands.conftest import Rig


def test_without_a_word_it_shows_the_help_and_offers_nothing_else(rig: Rig) -> None:
    said = rig()
    assert "Usage: " in said.out + said.err
    assert "Measure:" in said.out + said.err
    text = rig("--help").out
    for word in ("Exit codes: 0 done", "130 interrupted", "keep hands away"):
        assert word in " ".join(text.split())
    for name in ("demo", "run", "check", "panel", "safe", "study", "level", "figures"):
        assert f"  {name} " in text


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT])
def test_a_signal_ends_it_and_says_where_the_board_stands(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, number: signal.Signals
) -> None:
    seen: list[str] = []

    def act() -> None:
        signal.raise_signal(number)
        seen.append("went on")

    monkeypatch.setattr(whole, "app", act)
    assert rig() == (130, "", f"rig: Ended by {number.name}. Nothing was moved.\n")
    assert seen == []


def test_a_signal_that_is_ignored_from_outside_stays_ignored(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    def act() -> None:
        signal.raise_signal(signal.SIGHUP)

    monkeypatch.setattr(whole, "app", act)
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        assert rig() == (0, "", "")
    finally:
        signal.signal(signal.SIGHUP, before)


@pytest.mark.parametrize(("error", "code"), [(RigError("So."), 1), (BadInputError("So."), 2)])
def test_an_error_is_one_sentence(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, error: Exception, code: int
) -> None:
    def act() -> None:
        raise error

    monkeypatch.setattr(whole, "app", act)
    said = rig()
    assert (said.code, said.out, said.err) == (code, "", "rig: So.\n")


def test_a_mistake_of_the_program_keeps_its_traceback(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    hook = sys.excepthook

    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("rig.commands.options.settings_of", broken)
    monkeypatch.setattr("rig.commands.settings.settings_of", broken)
    with pytest.raises(ZeroDivisionError):
        rig("settings")
    assert sys.excepthook is hook


def test_output_that_nobody_reads_is_no_crash(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither while the command writes nor when it has written all before anybody noticed."""
    written: list[int] = []

    def act() -> None:
        for number in range(n_lines):
            print("a line")
            written.append(number)

    reader, writer = os.pipe()
    os.close(reader)
    monkeypatch.setattr(whole, "app", act)
    with os.fdopen(writer, "w") as out:
        monkeypatch.setattr(sys, "stdout", out)
        n_lines = 1
        assert rig() == (1, "", "")
        n_lines = 100_000
        assert rig() == (1, "", "")
    assert len(written) < n_lines, "it ends as soon as nobody reads"


def test_output_that_finds_no_room_is_told(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(whole, "app", lambda: print("a line"))
    with open("/dev/full", "w", encoding="utf-8") as full:
        monkeypatch.setattr(sys, "stdout", full)
        said = rig()
    assert said.code == 1
    assert said.err == "rig: The output could not be written (No space left on device).\n"


def test_the_help_has_every_command_under_a_heading(rig: Rig) -> None:
    said = rig("-h")
    assert said.code == 0
    assert "More:" not in said.out
    assert [line for line in said.out.splitlines() if len(line) > 80] == []
    for names in GROUPS.values():
        for name in names:
            assert re.search(rf"^  {name} +\w", said.out, re.M), name
    assert said.out == rig("--help").out


def test_the_version_is_that_of_the_package(rig: Rig) -> None:
    assert rig("--version").out == f"rig {version('rig')}\n"
