"""The page's own certificate: made here, for this computer's names and addresses, and renewed here.

It is a leaf that signs itself and can sign nothing else, so nobody is asked to install an
authority; a browser warns of it once. Its key never leaves the user's configuration folder.
"""

import ipaddress
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rig.errors import BadInputError
from rig.files.durable import make_folder, replace_file
from rig.files.places import configuration_folder

if TYPE_CHECKING:
    from cryptography import x509

LIFE = timedelta(days=390)
"""Phones refuse certificates of servers that hold for more than 398 days."""
RENEWED_BEFORE = timedelta(days=30)
CERTIFICATE, KEY = "page-certificate.pem", "page-key.pem"
WARNING = (
    "The browser will warn that it does not know this page's certificate: this computer made it"
    " itself. Compare the fingerprint, then choose to go on (often under “Advanced” or “Details”)."
    " Install nothing for it."
)


class Certificate(NamedTuple):
    """Two files for a server."""

    certificate: Path
    key: Path
    fingerprint: str
    """SHA-256, as browsers show it."""


def certificate_for(
    names: Iterable[str], folder: Path | None = None, now: datetime | None = None
) -> Certificate:
    """The certificate for these names, made or renewed where the kept one does not do.

    Args:
        names: host names and addresses.
        folder: where it is kept; the user's configuration folder if not given.
        now: tells the time.

    Raises:
        BadInputError: the package that makes it is missing, or it can't be written.
    """
    try:
        from cryptography import x509
    except ImportError:
        raise BadInputError(
            "--https needs the package cryptography: in the source folder, "
            "`pip install '.[panel]'`."
        ) from None
    folder, now = folder or configuration_folder(), now or datetime.now(UTC)
    wanted = sorted(set(names))
    paths = folder / CERTIFICATE, folder / KEY
    try:
        kept = _kept(paths, wanted, now)
        if kept is None:
            make_folder(folder)
            kept = _made(paths, wanted, now)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadInputError(
            f"The certificate cannot be kept in {folder}: {reason}; check its permissions."
        ) from error
    assert isinstance(kept, x509.Certificate)  # noqa: S101
    return Certificate(*paths, _fingerprint(kept))


def _kept(paths: tuple[Path, Path], names: list[str], now: datetime) -> "x509.Certificate | None":
    """The one that is there, if it fits; None otherwise."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        found = x509.load_pem_x509_certificate(paths[0].read_bytes())
        key = load_pem_private_key(paths[1].read_bytes(), None)
    except (FileNotFoundError, ValueError, TypeError):
        return None
    is_private = paths[1].stat().st_mode & 0o077 == 0
    fits = (
        is_private
        and key.public_key() == found.public_key()
        and _names_of(found) == names
        and found.not_valid_before_utc <= now < found.not_valid_after_utc - RENEWED_BEFORE
    )
    return found if fits else None


def _names_of(certificate: "x509.Certificate") -> list[str]:
    from cryptography import x509

    with suppress(x509.ExtensionNotFound):
        held = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        return sorted(str(one.value) for one in held)
    return []


def _made(paths: tuple[Path, Path], names: list[str], now: datetime) -> "x509.Certificate":
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "rig page")])
    usage = dict.fromkeys(
        ("content_commitment", "key_encipherment", "data_encipherment", "key_agreement"), False
    ) | dict.fromkeys(("key_cert_sign", "crl_sign", "encipher_only", "decipher_only"), False)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + LIFE)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(x509.KeyUsage(digital_signature=True, **usage), True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .sign(key, hashes.SHA256())
    )
    pem = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    replace_file(paths[1], pem, is_private=True)
    replace_file(paths[0], made.public_bytes(serialization.Encoding.PEM))
    return made


def _general(name: str) -> "x509.GeneralName":
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _fingerprint(certificate: "x509.Certificate") -> str:
    from cryptography.hazmat.primitives import hashes

    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()
