"""Studies at the edge, of one model and by hand: each gives a sentence, none a wild number."""

from pathlib import Path
from shutil import copytree

import pytest
from msgspec.structs import replace

from rig.study.answer.answer import Answer
from rig.study.answer.ask import ask
from rig.study.answer.build import answer
from rig.study.answer.lines import lines_of
from rig.study.answer.question import Question
from rig.study.answer.reference import reference_sentences
from rig.study.folder.study import open_study
from rig.study.model.data import facts_of, model_data
from rig.study.model.fit import fit
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table
from tests.study.answer.evening import evening

OLDER = Path(__file__).parents[1] / "older"


def tame(found: Answer) -> None:
    """Nothing beyond what fabric on a board can do, and words for a person."""
    for bag in found.bags:
        assert 10.0 < bag.lower_deg < bag.angle_deg < bag.upper_deg < 45.0
    for effect in found.treatments:
        assert -12.0 < effect.lower_deg <= effect.effect_deg <= effect.upper_deg < 12.0
    for slope in found.weather:
        assert -2.0 < slope.lower_deg < slope.upper_deg < 2.0
    assert found.sentences[0].startswith("Use Quay")
    assert "nan" not in " ".join(lines_of(found, "x", everything=True))
    assert "inf" not in " ".join(lines_of(found, "x", everything=True)).replace("information", "")


def test_one_bag_and_one_slide_before_and_after(tmp_path: Path) -> None:
    study = evening(tmp_path / "club", treated=1, controls=0, faces=("grip",), slides=1)
    found = ask(study).answer
    tame(found)
    assert not found.treatments[0].shown
    assert any("may lie anywhere from" in sentence for sentence in found.unknown)


def test_two_sessions_in_one_air(tmp_path: Path) -> None:
    study = evening(tmp_path / "club", faces=("grip",), humidity_pct=(50.0, 50.0))
    found = ask(study).answer
    tame(found)
    assert any("10 %RH more may change the grip face" in sentence for sentence in found.unknown)


def test_readings_in_coarse_steps(tmp_path: Path) -> None:
    """Two to a series, to half degrees; the second always half a degree above the first."""
    folder = copytree(OLDER / "by_hand", tmp_path / "club")
    found = ask(open_study(folder)).answer
    assert found.quality.pareto_k < 0.7
    assert not any("did not settle" in sentence for sentence in found.unknown)
    for bag in found.bags:
        assert 1.0 < bag.upper_deg - bag.lower_deg < 3.0
    (soft,) = found.treatments
    assert 1.0 < soft.upper_deg - soft.lower_deg < 4.0


def test_a_reference_bag_that_contradicts_the_others_is_told(tmp_path: Path) -> None:
    study = evening(tmp_path / "club", treated=3, controls=2, faces=("grip",), seed=3)
    text, mark = study.catalogue_path.read_text("utf-8"), '[bags."Quay 5"]'
    head, tail = text.split(mark)
    tail = tail.replace('role = "control"', 'role = "reference"')
    study.catalogue_path.write_text(head + mark + tail, "utf-8")
    study = open_study(study.path)
    table = slide_table(study)

    def shifted(by_deg: float) -> list[Slide]:
        return [
            replace(s, onset_angle_deg=(s.onset_angle_deg or 0.0) + by_deg)
            if s.bag == "Quay 5" and s.session == "evening 2"
            else s
            for s in table.slides
        ]

    def changed(by_deg: float) -> tuple[list[str], Answer]:
        slides = shifted(by_deg)
        draws = fit(model_data(slides, facts_of(study)))
        other = table._replace(slides=slides)
        found = answer(study, other, draws, Question(air=ask(study).question.air))
        return list(reference_sentences(draws, other.valid)), found

    said, found = changed(0.0)
    assert said == []
    # Less than a degree is no contradiction, however little mountings scatter.
    assert not list(reference_sentences(ask(study).draws, shifted(0.75)))
    (before,) = found.treatments
    said, found = changed(3.0)
    assert len(said) == 1
    assert said[0].startswith("The reference bag (Quay 5, grip) slid 1.")
    assert "above what the other bags say of evening 2" in said[0]
    assert found.unknown[0] == said[0]
    # The effect is far less certain, and still about what it was.
    (after,) = found.treatments
    assert after.upper_deg - after.lower_deg > 1.5 * (before.upper_deg - before.lower_deg)
    assert -6.0 < after.lower_deg < -1.9 < after.upper_deg < 1.0


@pytest.mark.long
def test_forty_bags_fit_25_lines(tmp_path: Path) -> None:
    bags = 40
    study = evening(tmp_path / "club", treated=bags - 10, controls=10, faces=("grip",), slides=2)
    found = ask(study).answer
    tame(found)
    assert len(found.bags) == bags
    lines = lines_of(found, "Quay club")
    assert len(lines) <= 25
    assert "and 32 more bag faces: --all lists them" in lines
