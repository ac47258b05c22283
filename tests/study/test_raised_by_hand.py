"""A whole study on a board that a person raises, without pins; the truth is invented here.

`tests/commands/test_study_by_hand.py` has the same by commands, on the twin; it is long.
"""

from datetime import UTC, datetime, timedelta
from math import radians, tan
from pathlib import Path

import numpy as np
import pytest

from rig.calibration.model import Calibration
from rig.files.stamps import utc_text
from rig.public import open_study as opened
from rig.runfile.model import End, Header
from rig.runfile.writer import RunWriter, new_run_id, run_folder, run_path
from rig.settings.model import MotionSettings, Settings
from rig.study.folder.journal import Treatment
from rig.study.folder.study import open_study
from rig.study.slides.table import slide_table
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Scenario
from tests.fastsim.hand_run import simulate_hand_run
from tests.panel.study.club import make_club

HAND = Settings(motion=MotionSettings(raised_by="hand"))
SEED = 404
PACE = 3.0
BAGS = {"Harbour 1": 0.6, "Harbour 2": -0.4, "Harbour 3": 0.1, "Harbour 4": -0.3}
LEVEL_DEG, PER_10_PCT, EFFECT_DEG = 20.0, 0.7, -2.0
AIRS = ((21.0, 40.0), (22.0, 60.0))
SLIDES = 2


def true_deg(bag: str, humidity_pct: float, *, treated: bool) -> float:
    """Before scatter; the slide angle of a bag that simply lets go."""
    effect = EFFECT_DEG if treated and bag != "Harbour 4" else 0.0
    return LEVEL_DEG + BAGS[bag] + PER_10_PCT * (humidity_pct - 50.0) / 10.0 + effect


class Porch:
    """One board with its sensor, and a folder of what was measured on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.now = datetime(2026, 5, 30, 9, 0, tzinfo=UTC)
        self.random = np.random.default_rng(SEED)
        self.calibration: Calibration = calibration_for(self.scenario(20.0, AIRS[0]), HAND, SEED)
        self.made = 0

    def scenario(self, angle_deg: float, air: tuple[float, float]) -> Scenario:
        mu = tan(radians(angle_deg))
        drawn = draw_scenario(SEED, face=plain_face(mu, mu - 0.04), law="slip_weakening")
        room = {"temperature_c": air[0], "relative_humidity_pct": air[1], "board_offset_k": 0.0}
        return changed(drawn, air=room, imu={"self_heating_k": 0.0})

    def evening(self, air: tuple[float, float], *, treated: bool) -> None:
        shift = self.random.normal(0.0, 0.15)
        for bag in BAGS:
            level = true_deg(bag, air[1], treated=treated) + shift + self.random.normal(0.0, 0.15)
            for number in range(1, SLIDES + 1):
                self.slide(bag, level + self.random.normal(0.0, 0.2), air, number)
        self.now += timedelta(days=1)

    def slide(self, bag: str, angle_deg: float, air: tuple[float, float], number: int) -> None:
        self.now += timedelta(minutes=2)
        self.made += 1
        started = self.now
        made = simulate_hand_run(
            HAND,
            self.scenario(angle_deg, air),
            SEED,
            number=self.made,
            rate_deg_s=PACE,
            dwell_s=3.0,
            calibration=self.calibration,
            run_id=new_run_id(started, f"{self.made:06x}"),
            started_at=utc_text(started, "milliseconds"),
            bag=bag,
            face="slick",
            board="shed board",
            session=f"{started:%Y-%m-%d}",
            series=f"{started:%Y-%m-%d} {bag}",
            slide_number=number,
        )
        header, *body, end = made.lines
        assert isinstance(header, Header)
        assert isinstance(end, End)
        path = run_path(run_folder(self.folder / "runs", started), header.run_id)
        with RunWriter(path, header) as writer:
            for line in body:
                writer.write(line)
            writer.end(end.outcome, end.flags, 0, 0)


def test_four_bags_one_treatment_two_airs_and_a_choice(tmp_path: Path) -> None:
    """24 of 32 slides at least are taken, the effect is found, the answer is off by 0.5° rms."""
    study = make_club(tmp_path / "club", raise_start="whole", rate_deg_s=PACE)
    porch = Porch(study.path)
    for air in AIRS:
        porch.evening(air, treated=False)
    steps = tuple(study.catalogue.treatments["soft soak"].steps)
    at = utc_text(porch.now)
    soaks = [
        Treatment(at=at, bag=bag, stage="after 1", recipe="soft soak", steps=steps)
        for bag in BAGS
        if bag != "Harbour 4"
    ]
    study.note(*soaks, now=porch.now, simulated=True)
    porch.now += timedelta(days=1)
    for air in AIRS:
        porch.evening(air, treated=True)

    table = slide_table(open_study(study.path))
    assert len(table.of_rig) == 4 * len(BAGS) * SLIDES
    assert len(table.valid) >= 24
    assert {one.raised_by for one in (slide.result for slide in table.valid) if one} == {"hand"}
    answer = opened(study.path).answer(temperature_c=22, humidity_pct=55)
    (effect,) = (one for one in answer.treatments if one.face == "slick")
    assert effect.shown
    assert effect.effect_deg == pytest.approx(EFFECT_DEG, abs=0.7)
    assert effect.lower_deg < EFFECT_DEG < effect.upper_deg
    bags = {one.bag: one for one in answer.bags if one.face == "slick"}
    off = [bags[bag].angle_deg - true_deg(bag, 55.0, treated=True) for bag in BAGS]
    assert np.sqrt(np.mean(np.square(off))) < 0.5
    pick = answer.picks[0]
    target = 18.0
    away = {bag: abs(true_deg(bag, 55.0, treated=True) - target) for bag in BAGS}
    assert away[pick.bag] <= min(away.values()) + 0.5
