"""Writes to a study folder that neither a crash nor a second program can spoil."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from rig.errors import BadInputError
from rig.files import durable, lock


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold off other programs that would write to this folder meanwhile.

    Raises:
        BadInputError: the folder can't be opened.
    """
    with ExitStack() as held:
        try:
            held.enter_context(lock.locked(folder))
        except OSError as error:
            raise cannot_write(folder, error) from error
        yield


def replace_file(path: Path, data: bytes) -> None:
    """Put a whole new content in a file's place: after a crash the old one or the new is there.

    Raises:
        BadInputError: it can't be written.
    """
    try:
        durable.replace_file(path, data)
    except OSError as error:
        raise cannot_write(path, error) from error


def create_file(path: Path, data: bytes) -> None:
    """Write a new file, never over another; the folder must be locked.

    Raises:
        BadInputError: it is there already, or can't be written.
    """
    try:
        durable.create_file(path, data)
    except FileExistsError as error:
        raise BadInputError(f"{path} exists already and is not overwritten.") from error
    except OSError as error:
        raise cannot_write(path, error) from error


def cannot_write(path: Path, error: OSError) -> BadInputError:
    """The sentence about a place that can't be written to."""
    reason = error.strerror or str(error)
    return BadInputError(
        f"{path} cannot be written: {reason[:1].lower()}{reason[1:]}; check its permissions and"
        " the free space."
    )
