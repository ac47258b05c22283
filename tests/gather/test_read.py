"""Other owners' studies in a dataset, as one's own study takes them along."""

from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.errors import BadInputError
from rig.gather.read import studies_in, told_by
from rig.study.answer.ask import ask
from rig.study.answer.lines import lines_of
from rig.study.folder.catalogue import Preferences
from rig.study.folder.journal import Reading, Treatment
from rig.study.folder.study import Study, new_study, open_study
from rig.study.model.others import SHARED
from rig.study.slides.table import slide_table
from tests.gather.league import NAMES, TOKENS, gathered
from tests.study.folder_example import SOAK, add_run

CATALOGUE = """
[boards.A]

[bags."{own} 1"]
model = "heron"
shared_as = "league 1"

[bags."{own} 2"]
model = "heron"

[targets.slick]
angle_deg = 22.0
"""


def make(folder: Path, own: str, day: int, reader: str = "") -> Study:
    """A study of two bags, read by hand in two airs."""
    study = new_study(folder / own, own, Preferences())
    text = study.catalogue_path.read_text()
    study.catalogue_path.write_text(text + CATALOGUE.format(own=own))
    study = open_study(study.path)
    for number, humidity in enumerate((40.0, 65.0)):
        for bag in (1, 2):
            study.note(
                Reading(
                    at=f"2026-05-{day + number:02d}T12:0{bag}:00Z",
                    bag=f"{own} {bag}",
                    face="slick",
                    board="A",
                    reader=reader or f"of {own}",
                    angles_deg=(22.5 + bag - number, 22.7 + bag - number, 22.4 + bag - number),
                    temperature_c=22.0,
                    relative_humidity_pct=humidity,
                    stage="baseline",
                    session=f"day {number}",
                ),
                simulated=True,
            )
    return open_study(study.path)


@pytest.fixture
def league(tmp_path: Path) -> dict[str, Study]:
    made = {
        name: make(tmp_path / "league", name, day)
        for day, name in enumerate(("Quay", "Pier", "Mole"), start=1)
    }
    gathered(tmp_path / "league", tmp_path / "d")
    return made


def told(study: Study, tmp_path: Path) -> Any:
    return told_by(tmp_path / "d", study, slide_table(study))


def test_others_are_all_studies_but_the_own_one(league: dict[str, Study], tmp_path: Path) -> None:
    found = told(league["Quay"], tmp_path)
    assert (found.n_studies, found.n_slides) == (2, 24)
    assert found.shared_bags == ("Quay 1",)
    keys = set(found.bound.keys)
    assert ("bag", f"{SHARED}league 1") in keys
    assert not any("2 of" in name for key in keys for name in key)


def test_an_older_study_whose_experience_is_taken_counts_once(
    league: dict[str, Study], tmp_path: Path
) -> None:
    path = league["Quay"].catalogue_path
    path.write_text(f'experience = ["../Pier"]\n{path.read_text()}')
    found = told(open_study(league["Quay"].path), tmp_path)
    assert (found.n_studies, found.n_slides) == (1, 12)


def test_rows_come_back_as_the_slide_table_has_them(
    league: dict[str, Study], tmp_path: Path
) -> None:
    for unit, rows in studies_in(tmp_path / "d"):
        slides = slide_table(league[unit.name]).slides
        assert [row["onset_angle_deg"] for row in rows] == [s.onset_angle_deg for s in slides]
        assert {row["rig"] for row in rows} == {None}


def test_the_answer_says_what_rests_on_others(league: dict[str, Study], tmp_path: Path) -> None:
    study = league["Quay"]
    alone = ask(study)
    found = ask(study, told=lambda s, table: told_by(tmp_path / "d", s, table))
    others = found.answer.others
    assert others is not None
    assert others.shared_bags == ("Quay 1",)
    (weather,), (before,) = found.answer.weather, alone.answer.weather
    assert weather.upper_deg - weather.lower_deg < before.upper_deg - before.lower_deg
    text = " ".join(lines_of(found.answer, "Quay"))
    assert "With 24 slides of 2 other studies (2 readers; in common: Quay 1)." in text
    assert alone.answer.others is None
    assert all(len(line) <= 80 for line in lines_of(found.answer, "Quay"))
    assert msgspec.to_builtins(found.answer)["others"]["n_studies"] == 2


def test_kept_draws_without_others_stay_what_they_were(
    league: dict[str, Study], tmp_path: Path
) -> None:
    study = league["Quay"]
    before = ask(study).draws.slope("heron", "slick")
    with_them = ask(study, told=lambda s, table: told_by(tmp_path / "d", s, table)).draws
    again = ask(study).draws.slope("heron", "slick")
    assert np.array_equal(before, again)
    assert not np.array_equal(before, with_them.slope("heron", "slick"))


def test_a_bag_that_was_treated_before_the_others_saw_it_is_no_link(
    league: dict[str, Study], tmp_path: Path
) -> None:
    study = league["Quay"]
    study.note(
        Treatment(at="2026-05-01T13:00:00Z", bag="Quay 1", stage="after 1", steps=SOAK),
        simulated=True,
    )
    found = told(open_study(study.path), tmp_path)
    assert found.shared_bags == ()


def test_the_same_reader_is_known_by_the_token(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.gather.read.secret_key", lambda: bytes(range(32)))
    (tmp_path / "key").write_text("there")
    monkeypatch.setattr("rig.gather.read.key_place", lambda: tmp_path / "key")
    own = make(tmp_path / "league", "Quay", 1, reader="Anna")
    make(tmp_path / "league", "Pier", 2, reader="Anna")
    gathered(tmp_path / "league", tmp_path / "d")
    found = told(own, tmp_path)
    (usual,) = set(found.bound.usual) - {None}
    assert usual is not None
    assert usual.instrument == f"reader {TOKENS.person('Anna')}"
    assert found.bound.instruments == {"reader Anna": f"reader {TOKENS.person('Anna')}"}
    gathered(tmp_path / "league", tmp_path / "named", tokens=NAMES)
    assert told_by(tmp_path / "named", own, slide_table(own)).bound.instruments == {}


def test_operators_come_as_tokens_and_the_own_ones_are_known_by_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.gather.read.secret_key", lambda: bytes(range(32)))
    (tmp_path / "key").write_text("there")
    monkeypatch.setattr("rig.gather.read.key_place", lambda: tmp_path / "key")
    own = make(tmp_path / "league", "Quay", 1)
    for study in (own, make(tmp_path / "league", "Pier", 3)):
        for number, operator in enumerate(("Anna", "Bert", "Anna")):
            at = f"2026-05-1{number}T09:00:00Z"
            name = study.path.name  # of the run, too: equal runs in two studies count once
            add_run(study, f"{name} 1", at, operator=operator, run_id=f"{name} {number}")
    gathered(tmp_path / "league", tmp_path / "d")
    found = told(open_study(own.path), tmp_path)
    assert found.n_operators == 2
    anna, bert = TOKENS.person("Anna"), TOKENS.person("Bert")
    (usual,) = set(found.bound.usual) - {None}
    assert usual is not None
    assert usual.operator == anna
    known = found.bound.instruments
    assert known["operator Anna"] == f"operator {anna}"
    assert known["operator Bert"] == f"operator {bert}"
    assert not any(name in str(found) for name in ("'Anna", "'Bert"))


def test_what_the_twin_invented_is_no_experience(tmp_path: Path) -> None:
    own = make(tmp_path / "league", "Quay", 1)
    other = make(tmp_path / "league", "Pier", 2)
    path = add_run(other, "Pier 1", "2026-05-07T12:00:00Z")
    assert b'"source":"twin"' in path.read_bytes()
    gathered(tmp_path / "league", tmp_path / "d")
    with pytest.raises(BadInputError, match="No other study"):
        told(own, tmp_path)


def test_a_changed_part_is_never_believed(league: dict[str, Study], tmp_path: Path) -> None:
    part = next((tmp_path / "d" / "slides").rglob("*.parquet"))
    data = bytearray(part.read_bytes())
    data[len(data) // 2] ^= 1
    part.write_bytes(data)
    with pytest.raises(BadInputError, match="run `rig gather` into it again"):
        list(studies_in(tmp_path / "d"))


def test_a_folder_that_is_no_dataset_is_told(league: dict[str, Study], tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="is not a dataset"):
        told_by(tmp_path, league["Quay"], slide_table(league["Quay"]))
