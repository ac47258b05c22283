"""The page's own certificate: whose it is, how long it holds, who may read its key."""

import builtins
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

pytest.importorskip("cryptography")

from cryptography import x509

from rig.errors import BadInputError
from rig.files.places import configuration_folder
from rig.panel.certificate import LIFE, certificate_for

NAMES = ("localhost", "shed.local", "192.168.4.20", "::1")
NOW = datetime(2026, 5, 30, tzinfo=UTC)


def read(folder: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate((folder / "page-certificate.pem").read_bytes())


def test_it_has_all_names_signs_nothing_and_its_key_is_private(tmp_path: Path) -> None:
    made = certificate_for(NAMES, tmp_path / "new", NOW)
    assert stat.S_IMODE(made.key.stat().st_mode) == 0o600
    found = read(tmp_path / "new")
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert {str(one.value) for one in names} == set(NAMES)
    assert not found.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert not found.extensions.get_extension_for_class(x509.KeyUsage).value.key_cert_sign
    assert LIFE < timedelta(days=398)
    assert found.not_valid_after_utc == NOW + LIFE
    assert made.fingerprint.count(":") == 31


def test_the_kept_one_is_used_until_names_change_or_it_nears_its_end(tmp_path: Path) -> None:
    first = certificate_for(NAMES, tmp_path, NOW).fingerprint
    assert (
        certificate_for(reversed(NAMES), tmp_path, NOW + timedelta(days=300)).fingerprint == first
    )
    late = certificate_for(NAMES, tmp_path, NOW + timedelta(days=365)).fingerprint
    assert late != first
    moved = certificate_for((*NAMES, "192.168.4.21"), tmp_path, NOW + timedelta(days=365))
    assert moved.fingerprint != late


def test_one_that_was_readable_damaged_or_of_another_key_is_made_again(tmp_path: Path) -> None:
    made = certificate_for(NAMES, tmp_path, NOW)
    made.key.chmod(0o644)
    again = certificate_for(NAMES, tmp_path, NOW)
    assert again.fingerprint != made.fingerprint
    assert stat.S_IMODE(again.key.stat().st_mode) == 0o600
    again.certificate.write_text("no certificate")
    third = certificate_for(NAMES, tmp_path, NOW)
    other = certificate_for(NAMES, tmp_path / "other", NOW)
    third.key.write_bytes(other.key.read_bytes())
    assert certificate_for(NAMES, tmp_path, NOW).fingerprint != third.fingerprint


def test_where_it_cannot_be_kept_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="cannot be kept in"):
        certificate_for(NAMES, tmp_path / "file" / "rig", NOW)


def test_without_the_package_one_sentence_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def importing(name: str, *args, **kwargs):
        if name.startswith("cryptography"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", importing)
    with pytest.raises(BadInputError, match=r"pip install '\.\[panel\]'"):
        certificate_for(NAMES, tmp_path, NOW)


def test_it_lies_in_the_users_configuration_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert configuration_folder() == tmp_path / "rig"
