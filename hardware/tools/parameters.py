"""Writes `hardware/model/parameters.scad`: the numbers of the settings, for the model.

python hardware/tools/parameters.py [rig.toml]
"""

import sys
from pathlib import Path

import msgspec

from rig.settings.load import load_settings
from rig.settings.model import Settings

TARGET = Path(__file__).parents[1] / "model" / "parameters.scad"
SECTIONS = ("linkage", "screw", "beam", "board", "bag", "blade", "mechanics")


def text_of(settings: Settings) -> str:
    """Every number of the sections that shape the rig, as `section_key = value;`."""
    lines = [f"// Written by tools/parameters.py from the settings of {settings.name!r}."]
    lines += ["// Do not edit: change rig.toml and write it again."]
    for section in SECTIONS:
        values = msgspec.structs.asdict(getattr(settings, section))
        lines += ["", *(f"{section}_{key} = {value:.10g};" for key, value in values.items())]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    chosen = load_settings(Path(sys.argv[1])) if len(sys.argv) > 1 else Settings()
    TARGET.write_text(text_of(chosen), encoding="utf-8")
