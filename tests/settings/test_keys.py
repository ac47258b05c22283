"""The keys as people who have a file know them.

`keys.txt` says all of them once more: a default that changes is another rig wherever a file leaves
it out, and a range that changes refuses a file that was good.
"""

import ast
import math
import re
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.settings.keys import keys
from rig.settings.model import Settings

LINES = Path(__file__).with_name("keys.txt").read_text("utf-8").splitlines()
NUMBER = re.compile(r"a (whole )?number (from|above) (-?[\d.]+),? (?:up )?to ([\d.]+)")


def test_every_key_has_its_default_and_its_range() -> None:
    assert [f"{key.path} = {key.default!r}: {key.allowed}" for key in keys()] == LINES


def read(path: str, value: Any) -> Any:
    """The value as the settings have it."""
    section, name = path.split(".")
    settings = msgspec.convert({section: {name: value}}, Settings)
    return getattr(getattr(settings, section), name)


@pytest.mark.parametrize("line", [line for line in LINES if "number" in line])
def test_a_range_is_kept_to_the_last_digit(line: str) -> None:
    path, words = line.split(" = ")
    found = NUMBER.search(words)
    assert found is not None
    kind = int if found[1] else float
    low, high = kind(found[3]), kind(found[4])
    below, above = (low - 1, high + 1) if found[1] else (step(low, -1), step(high, +1))
    lowest = low if found[2] == "from" else step(low, +1)
    for value in (lowest, high, ast.literal_eval(words.split(":")[0])):
        assert read(path, value) == value
    for value in (below if found[2] == "from" else low, above):
        with pytest.raises(msgspec.ValidationError):
            read(path, value)


def step(value: float, sign: int) -> float:
    return math.nextafter(value, sign * math.inf)
