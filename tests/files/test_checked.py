import json
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.files.checked import sealed, verdict

LINE = json.dumps({"kind": "treatment", "line": 3, "bag": "Heron 1", "note": "ä"}).encode()


def test_the_check_is_a_key_of_the_same_object() -> None:
    line = sealed(LINE)
    assert verdict(line) == "sound"
    read = json.loads(line)
    assert read.pop("check") == f"{__import__('zlib').crc32(LINE):08x}"
    assert read == json.loads(LINE)


def test_a_line_of_an_older_program_is_unchecked() -> None:
    assert verdict(LINE) == "unchecked"
    assert verdict(b"") == "unchecked"


def test_the_check_is_the_published_one() -> None:
    """CRC-32 of "123456789" is CBF43926 (ISO 3309; the check value of the common catalogues)."""
    line = b'{"a":123456789}'
    assert sealed(line).endswith(b'"check":"%08x"}' % crc32(line))
    assert crc32(b"123456789") == 0xCBF43926


@given(st.integers(0, len(sealed(LINE)) - 1), st.integers(1, 255))
def test_every_changed_byte_is_seen(place: int, by: int) -> None:
    line = bytearray(sealed(LINE))
    line[place] ^= by
    assert verdict(bytes(line)) != "sound"


@pytest.mark.parametrize("place", range(2, 20))
def test_a_damaged_check_does_not_pass_for_an_older_line(place: int) -> None:
    """Not even where the key itself is hit, unless the key is gone altogether."""
    line = bytearray(sealed(LINE))
    line[-place] ^= 1
    read = verdict(bytes(line))
    assert read == "changed" or b'"check"' not in bytes(line)
