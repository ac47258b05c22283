import os
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.gather.tokens import Tokens, key_place, secret_key


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    return key_place()


def test_the_secret_is_made_once_and_for_its_owner_alone(place: Path) -> None:
    old = os.umask(0)
    try:
        key = secret_key()
    finally:
        os.umask(old)
    assert place.stat().st_mode & 0o777 == 0o600
    assert len(key) == 32
    assert secret_key() == key
    assert [one.name for one in place.parent.iterdir()] == ["names.key"]


def test_a_secret_that_others_may_read_is_refused(place: Path) -> None:
    secret_key()
    place.chmod(0o640)
    with pytest.raises(BadInputError, match="chmod 600"):
        secret_key()


@pytest.mark.parametrize("text", ["", "zz", "00" * 31])
def test_a_damaged_secret_is_never_replaced(place: Path, text: str) -> None:
    secret_key()
    place.write_text(text)
    with pytest.raises(BadInputError, match="is damaged"):
        secret_key()
    assert place.read_text() == text


def test_a_token_belongs_to_a_name_and_a_secret() -> None:
    one, other = Tokens(bytes(32)), Tokens(bytes([1] * 32))
    assert one.person("Anna") == Tokens(bytes(32)).person("Anna")
    assert one.person("Zoë") == one.person("Zoe\N{COMBINING DIAERESIS}")
    assert len({one.person("Anna"), one.person("Bert"), other.person("Anna")}) == 3
    assert one.person(None) is None
    assert "Anna" not in str(one.person("Anna"))
    assert one.fingerprint != other.fingerprint
    assert Tokens(bytes(32), with_names=True).person("Anna") == "Anna"
