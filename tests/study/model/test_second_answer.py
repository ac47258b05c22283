"""What a second answer needs: kept draws and kept results, and nothing that takes long to load."""

import shutil
import subprocess
import sys
from pathlib import Path

from rig.study.answer.ask import ask
from rig.study.folder.study import open_study

OLDER = Path(__file__).parents[1] / "older" / "rig_only"
PROGRAM = """
import sys
from pathlib import Path
from rig.study.answer.ask import ask
from rig.study.folder.study import open_study
answer = ask(open_study(Path(sys.argv[1]))).answer
slow = ("scipy.linalg", "scipy.optimize", "scipy.special", "scipy.stats", "scipy.interpolate")
print(answer.bags[0].angle_deg, [name for name in slow if name in sys.modules])
"""


def test_a_second_answer_loads_no_part_of_scipy(tmp_path: Path) -> None:
    study = Path(shutil.copytree(OLDER, tmp_path / "rig_only"))
    first = ask(open_study(study)).answer
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(study)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == f"{first.bags[0].angle_deg} []"
