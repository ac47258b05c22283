"""One changed byte anywhere in a study: no traceback, and no other number without a word."""

import shutil
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.study.one_byte import COMMANDS, Answer, ask, changes, check, make

CHANGES = 60
"""`python -m tests.bench.one_byte` makes 500."""


class Made(NamedTuple):
    """A whole study, the copy that is changed, and what each command says before."""

    whole: Path
    copy: Path
    before: dict[str, Answer]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    whole = make(tmp_path_factory.mktemp("one-byte") / "s").path
    copy = Path(shutil.copytree(whole, tmp_path_factory.mktemp("changed") / "s"))
    return Made(whole, copy, {name: ask(name, copy) for name in COMMANDS})


def test_each_command_has_an_answer(made: Made) -> None:
    assert {name: made.before[name].code for name in COMMANDS} == dict.fromkeys(COMMANDS, 0)


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2])
def test_one_changed_byte(made: Made, seed: int) -> None:
    for command, name, place in changes(made.whole, made.copy, CHANGES // 2, seed):
        check(made.before[command], ask(command, made.copy), name, place)
