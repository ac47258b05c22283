"""Controller and analysis for an automated tilt board.

`analyse`, `open_study`, `read_run` and `Settings` are for other programs and stay as they are;
everything else may move. Nothing is loaded before one of them is used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rig.errors import BadInputError as BadInputError
    from rig.public import analyse as analyse
    from rig.public import open_study as open_study
    from rig.public import read_run as read_run
    from rig.settings.model import Settings as Settings

_HOMES = {
    "BadInputError": "rig.errors",
    "Settings": "rig.settings.model",
    "analyse": "rig.public",
    "open_study": "rig.public",
    "read_run": "rig.public",
}

__all__ = ["BadInputError", "Settings", "analyse", "open_study", "read_run"]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'rig' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
