"""What an older study's slides do for a younger one, and what they leave alone."""

import os
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.answer.ask import Asked, ask
from rig.study.folder.study import Study, new_study, open_study
from rig.study.slides.experience import older_studies, with_experience
from rig.study.slides.table import slide_table
from tests.study.answer.evening import evening


def young(path: Path, older: Path | None = None, name: str = "Young club") -> Study:
    """An evening that ends before its soak; with an older study's experience if one is named."""
    study = evening(path, faces=("grip",), seed=2)
    lines = study.journal_path.read_text("utf-8").splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if '"kind":"treatment"' in line)
    study.journal_path.write_text("".join(lines[:first]), "utf-8")
    text = study.catalogue_path.read_text("utf-8").replace('name = "Quay club"', f'name = "{name}"')
    if older is not None:
        place = os.path.relpath(older, path)
        text = text.replace("[preferences]", f'experience = ["{place}"]\n[preferences]', 1)
    study.catalogue_path.write_text(text, "utf-8")
    return open_study(path)


@pytest.fixture(scope="module")
def older(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return evening(tmp_path_factory.mktemp("older") / "quay", faces=("grip",), seed=1).path


@pytest.fixture(scope="module")
def both(older: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Asked, Asked]:
    """The young study alone, and with experience."""
    place = tmp_path_factory.mktemp("young")
    return ask(young(place / "alone")), ask(young(place / "with", older))


def test_an_effect_is_known_before_anything_was_treated(
    older: Path, both: tuple[Asked, Asked]
) -> None:
    alone, with_older = both[0].answer, both[1].answer
    assert alone.treatments == ()
    (effect,), (theirs,) = with_older.treatments, ask(open_study(older)).answer.treatments
    assert (effect.recipe, effect.n_bags, effect.shown) == ("soak", 3, True)
    assert effect.effect_deg == pytest.approx(theirs.effect_deg, abs=0.15)
    assert with_older.experience == ("Quay club",)


def test_forecasts_become_narrower_and_bags_stay_the_studys_own(
    both: tuple[Asked, Asked],
) -> None:
    alone, with_older = (one.answer for one in both)
    assert [(one.bag, one.face) for one in with_older.bags] == [
        (one.bag, one.face) for one in alone.bags
    ]
    for mine, theirs in zip(with_older.bags, alone.bags, strict=True):
        assert mine.angle_deg == pytest.approx(theirs.angle_deg, abs=0.3)
        for now, before in zip(mine.forecast, theirs.forecast, strict=True):
            assert now.upper_deg - now.lower_deg < 0.8 * (before.upper_deg - before.lower_deg)


def test_bags_and_sessions_of_the_same_name_are_others(older: Path, tmp_path: Path) -> None:
    study = young(tmp_path / "club", older)
    joined = with_experience(study, slide_table(study))
    own = slide_table(study).slides
    taken = [slide for slide in joined.table.slides if slide not in own]
    assert len(joined.table.slides) == len(own) + len(slide_table(open_study(older)).slides)
    assert not {slide.bag for slide in taken} & {slide.bag for slide in own}
    sessions = {slide.session for slide in slide_table(open_study(older)).slides}
    assert {slide.session for slide in taken} == {f"Quay club: {name}" for name in sessions}
    assert not {slide.series for slide in taken} & {slide.series for slide in own}
    assert {slide.treatments[0].name for slide in taken if slide.treatments} == {"soak"}


def test_a_recipe_of_other_steps_is_another_recipe(older: Path, tmp_path: Path) -> None:
    study = young(tmp_path / "club", older)
    text = study.catalogue_path.read_text("utf-8")
    study.catalogue_path.write_text(text.replace("time_min = 45", "time_min = 20"), "utf-8")
    study = open_study(study.path)
    joined = with_experience(study, slide_table(study))
    assert set(joined.study.catalogue.treatments) == {"soak", "soak (Quay club)"}
    done = {one.name for slide in joined.table.slides for one in slide.treatments}
    assert done == {"soak (Quay club)"}


def test_experience_of_experience_counts_once(older: Path, tmp_path: Path) -> None:
    middle = young(tmp_path / "middle", older, "Middle")
    last = young(tmp_path / "last", middle.path, "Last")
    path = middle.catalogue_path
    path.write_text(path.read_text("utf-8").replace("quay", "quay/../quay"), "utf-8")
    assert [one.catalogue.name for one in older_studies(last)] == ["Middle", "Quay club"]
    # Two that name each other: each takes the other's, once.
    text = last.catalogue_path.read_text("utf-8")
    middle_text = path.read_text("utf-8").splitlines()
    at = next(i for i, line in enumerate(middle_text) if line.startswith("experience"))
    middle_text[at] = 'experience = ["../last"]'
    path.write_text("\n".join(middle_text), "utf-8")
    assert "../middle" in text
    assert [one.catalogue.name for one in older_studies(open_study(last.path))] == ["Middle"]


def test_an_older_study_that_is_gone_is_told(tmp_path: Path) -> None:
    study = young(tmp_path / "club", tmp_path / "gone")
    with pytest.raises(BadInputError, match="which is not a study folder; put it back"):
        ask(study)


def test_what_the_twin_invented_is_no_experience_of_real_bags(
    older: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = young(tmp_path / "club", older)
    table = slide_table(study)
    monkeypatch.setattr(
        "rig.study.slides.experience.slide_table",
        lambda one: slide_table(one)._replace(
            slides=[_of_twin(slide) for slide in slide_table(one).slides]
        ),
    )
    with pytest.raises(BadInputError, match="made on the twin: what it found is invented"):
        with_experience(study, table)
    simulated = table._replace(slides=[_of_twin(slide) for slide in table.slides])
    assert with_experience(study, simulated).older == ("Quay club",)


def _of_twin(slide):  # a slide
    from msgspec.structs import replace

    return replace(slide, source="twin")


def test_a_new_study_names_the_older_one_from_its_own_folder(older: Path, tmp_path: Path) -> None:
    made = new_study(tmp_path / "a" / "club", "Club", older=[older])
    assert [one.path.resolve() for one in older_studies(made)] == [older.resolve()]
    with pytest.raises(BadInputError, match="There is no study folder"):
        new_study(tmp_path / "b", "Club", older=[tmp_path / "nowhere"])
    assert not (tmp_path / "b").exists()
