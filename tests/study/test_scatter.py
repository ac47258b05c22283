from pathlib import Path

import numpy as np
import pytest

from rig.study.scatter import Seen, seen_scatter
from rig.study.slides.slide import Slide
from tests.study.folder_example import make_study


def result(bag: str, stage: str, session: str, series: str, angle: float) -> Slide:
    return Slide(
        slide_id="x",
        source="rig",
        at="2026-05-01T08:00:00Z",
        run_file="runs/x.run.jsonl",
        bag=bag,
        face="slick",
        board="A",
        stage=stage,
        session=session,
        series=series,
        onset_angle_deg=angle,
        valid=True,
    )


def test_the_layers_are_found_again(tmp_path: Path) -> None:
    """Many simulated studies with known layers, session shifts and a treatment effect."""
    study = make_study(tmp_path)
    random = np.random.default_rng(1)
    true = {"run_deg": 0.4, "series_deg": 0.3, "bag_stage_deg": 0.5}
    squares = dict.fromkeys(true, 0.0)
    studies = 60
    for _ in range(studies):
        rows = []
        own = {bag: random.normal(20.0, 2.0) for bag in ("T1", "T2", "C1", "C2", "Ref")}
        for stage in ("baseline", "after 1"):
            bag_stage = {bag: random.normal(0.0, true["bag_stage_deg"]) for bag in own}
            for session in ("s1", "s2", "s3"):
                shift = random.normal(0.0, 1.0)
                for bag in own:
                    effect = 3.0 if stage == "after 1" and bag.startswith("T") else 0.0
                    mounting = random.normal(0.0, true["series_deg"])
                    level = own[bag] + bag_stage[bag] + effect + shift + mounting
                    for angle in random.normal(level, true["run_deg"], 4):
                        rows.append(result(bag, stage, f"{stage} {session}", bag, float(angle)))
        seen = seen_scatter(study, rows)
        for key in true:
            squares[key] += getattr(seen, key) ** 2 / studies
    # Negative estimates are cut off at 0, so means of squares lie a little high at most.
    for key, value in true.items():
        assert np.sqrt(squares[key]) == pytest.approx(value, rel=0.15), key


def test_what_a_study_cannot_show_is_not_known(tmp_path: Path) -> None:
    study = make_study(tmp_path)
    assert seen_scatter(study, []) == Seen()
    rows = [result("T1", "baseline", "s", "a", angle) for angle in (20.0, 20.2, 20.4, 20.6)]
    seen = seen_scatter(study, rows)
    assert seen.run_deg == pytest.approx(np.std([20.0, 20.2, 20.4, 20.6], ddof=1))
    assert seen.dof == {"run_deg": 3}
    assert seen.series_deg is None
    assert seen.bag_stage_deg is None
