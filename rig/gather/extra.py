"""What the extra `many` installs, imported only when it is needed."""

from importlib import import_module
from typing import Any

from rig.errors import BadInputError


def needed(module: str) -> Any:
    """A module of the extra.

    Raises:
        BadInputError: it is not installed.
    """
    try:
        return import_module(module)
    except ImportError as error:
        package = module.partition(".")[0]
        raise BadInputError(
            f"This needs {package}, which is not installed; `pip install '.[many]'` in the"
            " project's folder adds it."
        ) from error
