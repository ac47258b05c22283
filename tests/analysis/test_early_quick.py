"""A bag that gives way about where a quick start ends is known to have slid early, or measured."""

from math import radians, tan

import pytest

from rig.analysis.friction import analyse_run
from rig.settings.model import CycleSettings, Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face
from tests.bench.coverage import in_memory
from tests.fastsim.run import simulate_run
from tests.teeth import without

SETTINGS = Settings(cycle=CycleSettings(dwell_s=1.0))
SLIDES_DEG = 20.0
MU = tan(radians(SLIDES_DEG))


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.parametrize("below_deg", [-0.3, -0.05, 0.0, 0.05, 0.1, 0.2, 1.0])
def test_a_slide_is_told_as_early_or_its_angle_is_right(seed: int, below_deg: float) -> None:
    scenario = without(draw_scenario(seed, face=plain_face(MU, MU - 0.02), session="s"))
    lines, truth = simulate_run(
        SETTINGS, scenario, seed, rate_deg_s=0.3, approach_deg=SLIDES_DEG - below_deg
    )
    result = analyse_run(in_memory(lines)).result
    # The scatter of slides moves the angle at which this one gives way.
    assert truth.onset_angle_deg is not None
    until_deg = truth.onset_angle_deg - (SLIDES_DEG - below_deg)
    assert ("slid_early" in result.flags) == (until_deg < 0.35)
    if result.valid:
        assert result.onset_angle_deg == pytest.approx(truth.onset_angle_deg, abs=0.2)
