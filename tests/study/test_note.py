"""What a study refuses to write down: impossible times, damaged plans, names that can't be seen."""

import unicodedata
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.files.stamps import utc_text
from rig.study.folder.catalogue import Bag, Board
from rig.study.folder.catalogue_file import add_table
from rig.study.folder.journal import Reading, Wipe
from rig.study.folder.study import SLACK, Study, open_study
from rig.study.plan.keep import add_to_plan, current_plan
from rig.study.plan.rows import read_plan
from tests.study.folder_example import make_study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return make_study(tmp_path / "s")


def wipe(at: datetime) -> Wipe:
    return Wipe(at=utc_text(at), board="A")


def test_a_time_in_the_future_is_refused(study: Study) -> None:
    now = datetime.now(UTC).replace(microsecond=0)
    study.note(wipe(now + SLACK - timedelta(seconds=2)), now=now)
    with pytest.raises(BadInputError, match="lies in the future"):
        study.note(wipe(now + SLACK + timedelta(seconds=2)), now=now)
    assert len(open_study(study.path).journal.lines) == 1


def test_a_clock_that_was_never_set_notes_nothing(study: Study) -> None:
    for now, why in (
        (datetime(1970, 1, 1, 0, 5, tzinfo=UTC), "so it was not set"),
        (datetime.now(UTC) - timedelta(days=40), "but this study was made on"),
    ):
        with pytest.raises(BadInputError, match=why):
            study.note(wipe(now), now=now)
    assert not study.journal_path.exists()


def test_the_past_may_be_noted_later(study: Study) -> None:
    study.note(wipe(datetime(2020, 5, 1, tzinfo=UTC)))


def test_a_plan_with_bytes_missing_is_refused(study: Study) -> None:
    current_plan(study)
    data = bytearray(study.plan_path.read_bytes())
    data[200:712] = bytes(512)
    study.plan_path.write_bytes(data)
    with pytest.raises(BadInputError, match=r"line \d+: bytes are missing there"):
        read_plan(study)


def test_a_kept_plan_that_was_deleted_blocks_nothing(study: Study) -> None:
    for _ in range(3):
        current_plan(study, replace=True)
    assert sorted(p.name for p in study.path.glob("plan-*.csv")) == ["plan-1.csv", "plan-2.csv"]
    (study.path / "plan-1.csv").unlink()
    current_plan(study, replace=True)
    assert sorted(p.name for p in study.path.glob("plan-*.csv")) == ["plan-2.csv", "plan-3.csv"]
    with pytest.raises(BadInputError, match="everything already"):
        add_to_plan(study)


@pytest.mark.parametrize("name", ["x\n", "a\u200bb", "\u202eabc", " ", "\ud800"])
def test_names_that_cannot_be_seen_are_not_taken(study: Study, name: str) -> None:
    before = study.catalogue_path.read_bytes()
    with pytest.raises(BadInputError):
        add_table(study.catalogue_path, "boards", name, Board())
    with pytest.raises(BadInputError):
        add_table(study.catalogue_path, "bags", "T9", Bag(faces={name: ""}))
    assert study.catalogue_path.read_bytes() == before


def test_a_name_is_written_composed(study: Study) -> None:
    catalogue = add_table(study.catalogue_path, "boards", "Mo\u0308we", Board())
    assert "M\u00f6we" in catalogue.boards


def reading(**names: str) -> Reading:
    fields = {"bag": "T1", "face": "slick", "board": "A", "reader": "Ann", "session": "s"} | names
    at = "2026-05-01T12:00:00Z"
    return Reading(at=at, angles_deg=(21.0,), stage="baseline", **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize("field", ["bag", "face", "board", "reader", "session", "operator"])
def test_a_name_in_the_journal_can_be_seen_and_compared(study: Study, field: str) -> None:
    for name in ("x\n", "\x1b[31m", "\u202eevil", "\u200b", "\udcff"):
        with pytest.raises(BadInputError, match=f"The {field} .* in it|A {field} needs"):
            study.note(reading(**{field: name}))
    (entry,) = study.note(reading(**{field: unicodedata.normalize("NFD", "Möwe")}))
    assert getattr(entry, field) == "Möwe"


def test_a_note_that_is_no_text_is_refused(study: Study) -> None:
    with pytest.raises(BadInputError, match="bytes that are not UTF-8"):
        study.note(Wipe(at="2026-05-01T12:00:00Z", board="A", note="caf\udce9"))
    with pytest.raises(BadInputError, match="bytes that are not UTF-8"):
        add_table(study.catalogue_path, "boards", "B", Board(material="caf\udce9"))
    assert not open_study(study.path).journal.lines
