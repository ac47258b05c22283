"""The table of guards, a file for each folder of `rig`.

Each has `ENTRIES`, and may have `NO_LIMITS`: constants that need no entry, `module.NAME` → why
twice its value does no harm that a test could see.
"""

from importlib import import_module
from pathlib import Path

from tests.guards.entry import Guard

_MODULES = [
    import_module(f"{__name__}.{path.stem}")
    for path in sorted(Path(__file__).parent.glob("[a-z]*.py"))
]
ENTRIES: list[Guard] = [entry for module in _MODULES for entry in module.ENTRIES]
NO_LIMITS: dict[str, str] = {
    name: why for module in _MODULES for name, why in getattr(module, "NO_LIMITS", {}).items()
}
