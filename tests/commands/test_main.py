"""The command line as a whole: how it ends, by an error, by a signal, by a reader that has gone."""

import os
import signal
import sys
from types import SimpleNamespace

import pytest

from rig.commands import main as whole
from rig.errors import BadInputError, RigError
from tests.commands.conftest import Rig


def test_without_a_word_it_shows_the_help_and_offers_nothing_else(rig: Rig) -> None:
    said = rig()
    assert "Usage: " in said.out + said.err
    assert "Commands:" in said.out + said.err
    text = rig("--help").out
    for word in ("Exit codes: 0 done", "130 interrupted", "keep hands away"):
        assert word in " ".join(text.split())
    assert "completion" not in text
    for name in ("demo", "run", "check", "panel", "safe", "study", "level", "figures"):
        assert f"  {name} " in text


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_it_as_ctrl_c_does(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, number: signal.Signals
) -> None:
    seen: list[str] = []

    def act() -> None:
        try:
            signal.raise_signal(number)
        except KeyboardInterrupt as end:
            seen.append(str(end))
            raise

    monkeypatch.setattr(whole, "app", act)
    assert rig().code == 130
    assert seen == [number.name]


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
    redirected: list[int] = []

    def act() -> None:
        raise BrokenPipeError

    def dup2(source: int, target: int) -> None:
        assert os.readlink(f"/proc/self/fd/{source}") == os.devnull
        os.close(source)
        redirected.append(target)

    monkeypatch.setattr(whole, "app", act)
    own = SimpleNamespace(dup2=dup2, open=os.open, devnull=os.devnull, O_WRONLY=os.O_WRONLY)
    monkeypatch.setattr(whole, "os", own)
    monkeypatch.setattr(sys.stdout, "fileno", lambda: 1)
    said = rig()
    assert (said.code, said.err) == (1, "")
    assert redirected == [1]
