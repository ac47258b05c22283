"""Settings that differ from the reference rig in a few values."""

from typing import Any

import msgspec

from rig.settings.model import Settings


def changed(**sections: dict[str, Any]) -> Settings:
    """The reference rig with other values in some sections; nothing is checked."""
    base = Settings()
    parts = {
        name: msgspec.structs.replace(getattr(base, name), **values)
        for name, values in sections.items()
    }
    return msgspec.structs.replace(base, **parts)
