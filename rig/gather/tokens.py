"""Stable tokens in place of people's names, so that a dataset can be handed on.

A token is a keyed hash (BLAKE2b, RFC 7693) of the name: the same person has the same token in every
dataset made with the same secret, and without the secret nobody can try names against it.
"""

import os
import secrets
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path

from rig.errors import BadInputError
from rig.files.durable import create_file, make_folder
from rig.files.names import composed
from rig.files.places import configuration_folder

NAME = "names.key"
KEY_BYTES = 32
TOKEN_BYTES = 6


class Tokens:
    """Tokens by one secret.

    Args:
        key: the secret.
        with_names: names of people stay as they are.
    """

    def __init__(self, key: bytes, *, with_names: bool = False) -> None:
        self._key = key
        self.with_names = with_names

    @property
    def fingerprint(self) -> str:
        """Tells secrets apart without giving one away."""
        return self._hash("secret", "", 8)

    def person(self, name: str | None) -> str | None:
        """What stands for a reader or operator."""
        if name is None or self.with_names:
            return name
        return f"person {self._hash('person', composed(name), TOKEN_BYTES)}"

    def place(self, *parts: str) -> bytes:
        """What stands for a file's place; paths may have people's names in them."""
        return bytes.fromhex(self._hash("place", "\0".join(parts), 16))

    def _hash(self, kind: str, text: str, size: int) -> str:
        person = kind.encode()
        return blake2b(text.encode(), digest_size=size, key=self._key, person=person).hexdigest()


def key_place() -> Path:
    """Where the secret lies: in the user's configuration folder."""
    return configuration_folder() / NAME


def secret_key(place: Path | None = None) -> bytes:
    """The secret; made, and readable for its owner alone, where there is none.

    Raises:
        BadInputError: others may read it, it is damaged, or it can't be read or made.
    """
    path = place or key_place()
    try:
        if not path.exists():
            _make(path)
        if os.name == "posix" and path.stat().st_mode & 0o077:
            raise BadInputError(
                f"Others on this computer may read {path}, which hides people's names; run"
                f" `chmod 600 {path}`."
            )
        key = bytes.fromhex(path.read_text("ascii").strip())
    except OSError as error:
        raise BadInputError(
            f"{path} can't be read or made ({error.strerror or error}); it holds the secret that"
            " hides people's names. Check its permissions."
        ) from error
    except ValueError:
        key = b""
    if len(key) != KEY_BYTES:
        raise BadInputError(
            f"{path} is damaged: it must hold {2 * KEY_BYTES} hexadecimal digits. Restore it from a"
            " copy; without it the same people get other tokens."
        )
    return key


def _make(path: Path) -> None:
    make_folder(path.parent)
    with suppress(FileExistsError):  # another program has just made one
        create_file(path, f"{secrets.token_hex(KEY_BYTES)}\n".encode(), is_private=True)
