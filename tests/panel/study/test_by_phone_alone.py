"""A whole study by a phone on a board that is lifted by hand; no rig, no typed angle.

Four bags, one of them a control, one treatment, two airs, and a choice. The truth is invented here.
Long: `python -m pytest -m long tests/panel/study/test_by_phone_alone.py`.
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.study.folder.study import open_study
from rig.study.slides.table import slide_table
from tests.fastsim.phone import Phone, Trouble, lift
from tests.panel.study.club import make_club
from tests.panel.study.stand import StudyStand

pytestmark = pytest.mark.long

BAGS = {"Harbour 1": 0.8, "Harbour 2": -0.5, "Harbour 3": 0.2, "Harbour 4": -0.3}
LEVELS = {"grip": 25.0, "slick": 19.0}
PER_10_PCT = 0.7
EFFECT_DEG = -2.0
AIRS = ((21.0, 40.0), (22.0, 60.0))
LIFTS = 3
PACE = 2.0


@pytest.fixture
def stand(tmp_path: Path) -> Iterator[StudyStand]:
    stand = StudyStand(make_club(tmp_path / "club").path)
    yield stand
    stand.runner.close()


def true_deg(bag: str, face: str, humidity_pct: float, *, treated: bool) -> float:
    """Before scatter."""
    effect = EFFECT_DEG if treated and bag != "Harbour 4" else 0.0
    return LEVELS[face] + BAGS[bag] + PER_10_PCT * (humidity_pct - 50.0) / 10.0 + effect


class Evening:
    """One evening's lifts: the phone is laid down and zeroed anew."""

    def __init__(self, stand: StudyStand, phone: Phone, random: np.random.Generator) -> None:
        self.stand, self.phone, self.random = stand, phone, random
        self.keys = iter(range(10_000))

    def post(self, path: str, **body: Any) -> Any:
        key = f"{self.stand.now.timestamp():.0f}x{next(self.keys):05}"
        answer = self.stand.controller.post(f"/study/{path}", {"key": key, **body})
        assert answer.status == 200, answer.text
        return answer.document

    def measure(self, air: tuple[float, float], *, treated: bool) -> None:
        zero = self.phone.zero()
        shift = self.random.normal(0.0, 0.15)
        for bag in BAGS:
            for face in LEVELS:
                series = self.random.normal(0.0, 0.15)
                level = true_deg(bag, face, air[1], treated=treated) + shift + series
                for _ in range(LIFTS):
                    samples, _ = lift(self.phone, level + self.random.normal(0.0, 0.2), PACE)
                    found = self.post(
                        "lift", bag=bag, face=face, board="shed board", reader="Ines",
                        pace=str(PACE), zero=zero, samples=samples,
                        temperature=str(air[0]), humidity=str(air[1]),
                    )  # fmt: skip
                    assert found["slid"], found["text"]
                    self.stand.wait(minutes=1)


def rig(*words: str) -> Any:
    """What a command answers."""
    command = "from rig.commands.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", command, *words, "--json"], capture_output=True, check=True
    )
    return json.loads(done.stdout)


def test_four_bags_one_treatment_two_airs_and_a_choice(stand: StudyStand) -> None:
    random = np.random.default_rng(2026)
    evening = Evening(stand, Phone(random, Trouble()), random)
    for air in AIRS:
        evening.measure(air, treated=False)
        stand.wait(days=1)
    bags = [bag for bag in BAGS if bag != "Harbour 4"]
    asked = evening.post("treat", recipe="soft soak", bags=bags)
    assert asked["ask"][0] == "This cannot be undone on the bags."
    evening.post("treat", recipe="soft soak", bags=bags, sure=True)
    stand.wait(days=1)
    for air in AIRS:
        evening.measure(air, treated=True)
        stand.wait(days=1)
    folder = str(stand.folder)
    slides = slide_table(open_study(stand.folder)).valid
    assert len(slides) == 2 * 2 * len(BAGS) * len(LEVELS) * LIFTS
    assert all(one.trace for one in slides)

    answer = rig("answer", folder, "--temperature", "22", "--humidity", "55")
    effects = [one for one in answer["treatments"] if one["recipe"] == "soft soak"]
    assert effects
    for one in effects:
        assert one["shown"]
        assert one["effect_deg"] == pytest.approx(EFFECT_DEG, abs=0.7)
        assert one["lower_deg"] < EFFECT_DEG < one["upper_deg"]
    assert any("one phone" in sentence for sentence in answer["unknown"])
    misses = []
    for one in answer["bags"]:
        true = true_deg(one["bag"], one["face"], 55.0, treated=True)
        misses.append(abs(one["angle_deg"] - true))
        assert one["upper_deg"] - one["lower_deg"] < 2.5
    assert len(misses) == 8
    assert np.sqrt(np.mean(np.square(misses))) < 0.5
    for one in answer["weather"]:
        assert one["lower_deg"] < PER_10_PCT < one["upper_deg"]

    choice = rig("choose", folder, "--temperature", "22", "--humidity", "55")
    pick = choice["picks"][0]
    targets = {"grip": 24.0, "slick": 18.0}
    away = {
        (bag, face): abs(true_deg(bag, face, 55.0, treated=True) - targets[face])
        for bag in BAGS
        for face in LEVELS
    }
    assert away[pick["bag"], pick["face"]] <= min(away.values()) + 0.6
    assert pick["angle_deg"] == pytest.approx(
        true_deg(pick["bag"], pick["face"], 55.0, treated=True), abs=0.8
    )
