import json
import random
import threading
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.folder.journal import Droop, Mass, Treatment, Wipe, Withdrawal
from rig.study.folder.journal_file import append, read_journal
from tests.study.folder_example import SOAK


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.jsonl"


def weigh(mass_g: float, minute: int = 0, replaces: int | None = None) -> Mass:
    at = f"2026-05-01T08:{minute:02d}:00Z"
    return Mass(at=at, bag="T1", mass_g=mass_g, replaces=replaces)


def test_lines_are_numbered_and_read_back(path: Path) -> None:
    first = append(path, weigh(440.0))
    second = append(
        path,
        Treatment(at="2026-05-02T08:00:00Z", bag="T1", stage="after 1", steps=SOAK, recipe="soft"),
    )
    assert (first.line, second.line) == (2, 3)
    assert second.written_at.endswith("Z")
    journal = read_journal(path)
    assert journal.lines == [first, second]
    assert not journal.problems
    first_line = json.loads(path.read_text().splitlines()[0])
    first_line.pop("check")
    assert first_line == {"kind": "journal", "format": "tilt-journal", "version": 1}


def test_a_missing_journal_is_empty(path: Path) -> None:
    assert read_journal(path).lines == []


def test_a_correction_takes_the_place_of_the_line_it_names(path: Path) -> None:
    append(path, weigh(440.0))
    wrong = append(path, weigh(404.0, 5))
    right = append(path, weigh(440.4, 5, replaces=wrong.line))
    journal = read_journal(path)
    assert [mass.mass_g for mass in journal.of(Mass)] == [440.0, 440.4]
    assert len(journal.lines) == 3
    append(path, weigh(440.6, 5, replaces=right.line))
    assert [mass.mass_g for mass in read_journal(path).of(Mass)] == [440.0, 440.6]


def test_a_withdrawn_line_does_not_count_but_stays(path: Path) -> None:
    one = append(path, weigh(440.0))
    append(path, Withdrawal(at="2026-05-01T09:00:00Z", replaces=one.line, note="wrong bag"))
    journal = read_journal(path)
    assert journal.of(Mass) == []
    assert len(journal.lines) == 2


def test_a_correction_must_fit_its_line(path: Path) -> None:
    one = append(path, weigh(440.0))
    before = path.read_bytes()
    with pytest.raises(BadInputError, match="no line 99 that counts"):
        append(path, weigh(441.0, replaces=99))
    with pytest.raises(BadInputError, match="is a mass, and a wipe cannot take its place"):
        append(path, Wipe(at="2026-05-01T08:00:00Z", board="A", replaces=one.line))
    assert path.read_bytes() == before


def test_entries_come_in_order_of_time_not_of_writing(path: Path) -> None:
    append(path, weigh(441.0, 30))
    append(path, weigh(440.0, 10))
    assert [mass.mass_g for mass in read_journal(path).of(Mass)] == [440.0, 441.0]


def test_a_journal_cut_anywhere_keeps_its_whole_lines_and_goes_on(path: Path) -> None:
    for minute in range(5):
        append(path, weigh(440.0 + minute, minute))
    whole = path.read_bytes()
    draw = random.Random(7)
    cuts = {*draw.sample(range(1, len(whole)), 60), len(whole) - 1, 1}
    for cut in cuts:
        path.write_bytes(whole[:cut])
        # A line without its end is read if all of its words are there.
        ends = [i for i, byte in enumerate(whole) if byte == ord("\n")]
        complete = sum(1 for end in ends if end <= cut)
        journal = read_journal(path)
        assert len(journal.lines) == max(0, complete - 1), cut
        torn = whole[:cut].rpartition(b"\n")[2] != b"" and cut not in ends
        assert len(journal.problems) == torn, cut
        if torn:
            assert "was cut off after" in journal.problems[0]
        added = append(path, weigh(450.0, 50))
        again = read_journal(path)
        assert again.lines == [*journal.lines, added], cut
        numbers = [entry.line for entry in again.lines]
        assert len(set(numbers)) == len(numbers)
        assert path.read_bytes().startswith(whole[:cut])


def test_a_damaged_line_in_the_middle_is_told_and_passed_over(path: Path) -> None:
    append(path, weigh(440.0))
    with path.open("ab") as file:
        file.write(b'{"kind":"mass","line":3,"bag"\n')
        file.write(b"\0\0\0\0\n")
        file.write(b'{"kind":"weather","line":5,"at":"2026-05-01T08:00:00Z"}\n')
        file.write(b'{"kind":"mass","line":6,"at":"noon","bag":"T1","mass_g":440}\n')
        file.write(b'{"kind":"mass","line":7,"at":"2026-05-01T08:00:00Z","bag":"T1","mass_g":1}\n')
    last = append(path, weigh(441.0, 3))
    journal = read_journal(path)
    assert [mass.mass_g for mass in journal.of(Mass)] == [440.0, 441.0]
    assert last.line == 8
    assert [problem[:28] for problem in journal.problems] == [
        "Line 3 of journal.jsonl is l",
        "Line 5 of journal.jsonl is l",
        "Line 6 of journal.jsonl is l",
        "Line 7 of journal.jsonl is l",
    ]
    assert "unknown kind 'weather'" in journal.problems[1]


def test_lines_that_a_person_wrote_are_numbered_and_put_in_order(path: Path) -> None:
    append(path, weigh(440.0, 30))
    with path.open("ab") as file:
        file.write(b'{"kind":"mass","at":"2026-05-01T10:15:00+02:00","bag":"T1","mass_g":441}\n')
        file.write(b'{"kind":"mass","at":"2026-05-01T10:15:00","bag":"T1","mass_g":442}\n')
    journal = read_journal(path)
    assert [(m.line, m.at, m.mass_g) for m in journal.of(Mass)] == [
        (3, "2026-05-01T08:15:00Z", 441.0),
        (2, "2026-05-01T08:30:00Z", 440.0),
    ]
    assert "has no time zone" in journal.problems[0]


def test_a_journal_from_the_future_is_refused(path: Path) -> None:
    path.write_text('{"kind":"journal","format":"tilt-journal","version":2}\n')
    with pytest.raises(BadInputError, match="from the future"):
        read_journal(path)
    with pytest.raises(BadInputError, match="from the future"):
        append(path, weigh(440.0))


def test_two_writers_at_once_lose_nothing(path: Path) -> None:
    def write(offset: int) -> None:
        for i in range(20):
            append(path, weigh(440.0 + offset + i, i))

    threads = [threading.Thread(target=write, args=(100 * k,)) for k in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    journal = read_journal(path)
    assert not journal.problems
    assert sorted(entry.line for entry in journal.lines) == list(range(2, 62))


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="cannot be written"):
        append(tmp_path / "nothing" / "journal.jsonl", weigh(440.0))
    (tmp_path / "journal.jsonl").mkdir()
    with pytest.raises(BadInputError, match="cannot be written"):
        append(tmp_path / "journal.jsonl", weigh(440.0))


def test_every_kind_is_read_as_it_was_written(path: Path) -> None:
    droop = Droop(
        at="2026-05-01T08:00:00Z",
        bag="T1",
        face="grip",
        overhang_mm=51.0,
        angles_deg=(41.0, 43.5),
        stage="baseline",
        session="2026-05-01",
        seams="along",
    )
    wipe = Wipe(at="2026-05-01T08:00:00Z", board="A", how="dry cloth", series="1-001")
    written = [append(path, droop), append(path, wipe)]
    assert read_journal(path).lines == written


def test_two_lines_of_one_number_are_told(path: Path) -> None:
    append(path, weigh(440.0))
    append(path, weigh(441.0, minute=1))
    first, second, third = path.read_text("utf-8").splitlines()
    merged = json.loads(third) | {"line": 2}
    merged.pop("check")
    path.write_text("\n".join([first, second, json.dumps(merged), ""]), "utf-8")
    assert read_journal(path).problems == ["Two lines of journal.jsonl have the number 2."]
