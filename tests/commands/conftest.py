"""Runs the command line in this process, as a person would call it."""

import json
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from rig.commands.main import main
from rig.control.process.signals import CAUGHT


class Said(NamedTuple):
    """What a command said, and how it ended."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        return json.loads(self.out)


Rig = Callable[..., Said]


@pytest.fixture
def rig(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Rig:
    """Call `rig` with these words, in an empty folder, with no settings of this user."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    # The same invented rig each time.
    monkeypatch.setattr("rig.commands.options.drawn_seed", lambda: 1)
    before = {number: signal.getsignal(number) for number in CAUGHT}

    def call(*words: str) -> Said:
        monkeypatch.setattr(sys, "argv", ["rig", *words])
        try:
            main()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
        finally:  # `main` expects the process to end
            for number, handler in before.items():
                signal.signal(number, handler)
        out, err = capsys.readouterr()
        return Said(code, out, err)

    return call
