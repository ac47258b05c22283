"""Where files lie that belong to a user of this computer."""

import os
from pathlib import Path


def configuration_folder() -> Path:
    """Where a user's own settings and secrets lie."""
    home = Path(os.environ.get("XDG_CONFIG_HOME") or os.path.expanduser("~/.config"))
    return home / "rig"
