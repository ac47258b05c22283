"""A study without a rig: four bags of a set, one of them a control, a board, a recipe, targets."""

from pathlib import Path
from typing import Any

from rig.study.folder.catalogue import Preferences
from rig.study.folder.study import Study, new_study, open_study

CATALOGUE = """
[treatments."soft soak"]
steps = [
  { action = "soak", agent = "softener", temperature_c = 30, time_min = 45 },
  { action = "rinse" },
]

[boards."shed board"]

[targets.grip]
angle_deg = 24
tolerance_deg = 0.8

[targets.slick]
angle_deg = 18
"""


def make_club(path: Path, **preferences: Any) -> Study:
    """Three bags that are to be treated, and a control."""
    file = new_study(path, "Boat shed", Preferences(**preferences)).catalogue_path
    text = f"{file.read_text()}\n{CATALOGUE}"
    for number in (1, 2, 3, 4):
        rest = 'role = "control"' if number == 4 else 'treatment = "soft soak"'
        text += f'\n[bags."Harbour {number}"]\nset = "Harbour"\n{rest}\n'
    file.write_text(text)
    return open_study(path)
