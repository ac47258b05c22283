"""A small study whose run files come from the fast simulator."""

from pathlib import Path

from rig.settings.load import load_settings
from rig.study.folder.study import Study, open_study
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import AirTruth
from tests.fastsim.run import simulate_run, write_run
from tests.study.folder_example import make_study

LEVELS = {"T1": 0.36, "T2": 0.38, "C1": 0.37, "C2": 0.39}


def simulate_study(path: Path, runs: int = 2, effect: float = 0.05) -> Study:
    """Four bags at two stages in one air each; treated ones rise by `effect` in the coefficient."""
    study = make_study(path)
    settings = load_settings(None)
    number = 0
    for stage in ("baseline", "after 1"):
        for bag, level in LEVELS.items():
            mu = level + (effect if stage != "baseline" and bag[0] == "T" else 0.0)
            scenario = draw_scenario(5, face=plain_face(mu, mu - 0.03), air=AirTruth())
            for i in range(runs):
                number += 1
                lines, truth = simulate_run(
                    settings,
                    scenario,
                    5,
                    number=number,
                    bag=bag,
                    face="slick",
                    board="A",
                    session=stage,
                    series=f"{stage} {bag}",
                    slide_number=i + 1,
                    treatment_stage=stage,
                )
                folder = study.runs_path / stage
                folder.mkdir(parents=True, exist_ok=True)
                write_run(folder, lines, truth)
    return open_study(path)
