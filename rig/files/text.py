"""A text file that a person wrote or a spreadsheet saved."""

from pathlib import Path

from rig.errors import BadInputError


def read_text(path: Path, missing: str | None = None) -> str:
    """The text, which is UTF-8 with or without a byte-order mark.

    Args:
        path: of the file.
        missing: the sentence for a file that does not exist.

    Raises:
        BadInputError: the file can't be read, or a line of it, which is named, is not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        if missing is not None and isinstance(error, FileNotFoundError):
            raise BadInputError(missing) from None
        raise BadInputError(f"{path} cannot be read: {error.strerror or error}.") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise BadInputError(
            f"{path}: line {line} is not UTF-8 text; save the file in that encoding."
        ) from None
