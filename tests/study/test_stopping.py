from collections.abc import Sequence
from pathlib import Path

import pytest
from msgspec import structs

from rig.study.climate_model import fit_climate
from rig.study.folder import open_study
from rig.study.journal import Droop, Mass
from rig.study.stopping import CAUTION, PathStep, advise, paths, paths_text
from tests.study.folder_example import make_study
from tests.study.rows_example import make_rows

WISH = 22.0


def steps(*angles: float) -> list[PathStep]:
    found: list[PathStep] = []
    for i, angle in enumerate(angles):
        found.append(
            PathStep(
                stage="baseline" if i == 0 else f"after {i}",
                angle_deg=angle,
                step_deg=angle - angles[i - 1] if i else None,
                to_wish_deg=WISH - angle,
                droop_deg=None,
                mass_g=None,
            )
        )
    return found


@pytest.mark.parametrize(
    ("angles", "words"),
    [
        ((25.0,), "−3.0° to go; not treated yet"),
        ((25.0, 24.0), "about 2.0 steps like the last"),
        ((25.0, 22.3), "Stop: within 0.5°"),
        ((25.0, 21.0), "Stop: the last step (−4.0°) passed the wish"),
        ((25.0, 26.0), "led away from the wish"),
        ((27.0, 23.0), "would overshoot"),
        ((25.0, 24.95), "did almost nothing"),
    ],
)
def test_advice(angles: Sequence[float], words: str) -> None:
    assert words in advise(steps(*angles), 0.5)


@pytest.mark.parametrize(
    ("own", "words"),
    [
        (-0.2, "hardly more than the wear of the controls"),
        (+0.6, "led away from the wish: stop"),
        (-0.5, "about 4.0 steps like the last"),
    ],
)
def test_what_the_controls_did_too_is_no_step_of_the_treatment(own: float, words: str) -> None:
    first, last = steps(25.0, 24.0)
    assert words in advise([first, structs.replace(last, own_step_deg=own)], 0.5)


def test_no_wish() -> None:
    (one,) = steps(25.0)
    assert "No wish" in advise([structs.replace(one, to_wish_deg=None)], 0.5)


def test_path_has_angle_droop_and_mass(tmp_path: Path) -> None:
    from rig.study.journal_file import append

    study = make_study(tmp_path / "study", wish_angle_deg=22.0)
    at = "2026-03-01T10:00:00Z"
    append(study.journal_path, Mass(at=at, bag="T1", mass_g=441.5))
    append(
        study.journal_path,
        Droop(
            at=at,
            bag="T1",
            face="slick",
            stage="after 1",
            session="s",
            overhang_mm=50.0,
            angles_deg=(30.0, 34.0),
        ),
    )
    study = open_study(study.path)
    rows = make_rows(bags=("T1", "C1", "R"), airs=(40.0, 50.0, 60.0, 45.0), effect_deg=1.5)
    (path,) = paths(study, rows, fit_climate(rows))
    assert [step.stage for step in path.steps] == ["baseline", "after 1"]
    assert path.steps[1].step_deg == pytest.approx(1.2)
    assert path.steps[1].own_step_deg == pytest.approx(1.5)  # the control went down by 0.3
    assert path.steps[1].droop_deg == pytest.approx(32.0)
    assert path.steps[0].mass_g == pytest.approx(441.5)
    text = paths_text([path])
    assert CAUTION in text
    assert "+0.8" in text
