from pathlib import Path

import pytest

from rig.study.folder.journal import Mass, Reading
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, open_study
from rig.study.slides.table import slide_table
from tests.commands.conftest import Rig
from tests.study.folder_example import add_run, make_study

HEAD = "at,reader,bag,face,board,angle_deg,temperature_c,relative_humidity_pct,note"


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "club")
    for minute in range(3):
        add_run(made, "T1", f"2026-05-01T08:0{minute}:00Z")
    return made


def bags(study: Study) -> list[str | None]:
    return [slide.bag for slide in slide_table(open_study(study.path)).slides]


@pytest.mark.parametrize(
    "where",
    [
        ("club", "run 0001"),
        ("club", "0001.run.jsonl"),
        ("club/runs/2026-05-01/0001.run.jsonl",),
    ],
)
def test_a_run_is_named_by_id_or_file(rig: Rig, study: Study, where: tuple[str, ...]) -> None:
    said = rig("study", "correct", *where, "--bag", "T2", "--why", "mixed up")
    assert (said.code, said.out) == (0, "Journal line 2: correction of run 0001.\n")
    assert bags(study) == ["T1", "T2", "T1"]
    assert rig("study", "withdraw", "club", "2", "--why", "no, it was right").code == 0
    assert bags(study) == ["T1", "T1", "T1"]


def test_several_runs_are_taken_out_at_once(rig: Rig, study: Study) -> None:
    said = rig("study", "correct", "club", "run 0000", "run 0002", "--void", "--why", "draught")
    assert said.code == 0
    slides = slide_table(open_study(study.path)).slides
    assert [slide.void for slide in slides] == ["draught", "", "draught"]
    assert rig("study", "export", "club").out.count("draught") == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("club", "run 0001", "--bag", "T2"), "Say why with --why"),
        (("club", "run 0001", "--why", "x"), "Name the runs, and what is right"),
        (("club", "--void", "--why", "x"), "Name the runs"),
        (("club", "run 0009", "--void", "--why", "x"), "did you mean 'run 000"),
        (("club", "run 0001", "--bag", "T9", "--why", "x"), "The study knows no bag 'T9'"),
        (("club", "run 0001", "--face", "grap", "--why", "x"), "did you mean 'grip'"),
        (("club", "run 0001", "--board", "B", "--why", "x"), "no board 'B'"),
        (("nowhere.run.jsonl", "--void", "--why", "x"), "neither a study nor a run file"),
        (("club", "--line", "2", "--why", "x"), "one of --confirm and --void"),
        (("club", "--line", "2", "--confirm", "--void", "--why", "x"), "one of --confirm and"),
        (("club", "--line", "2", "--confirm", "--why", "x"), "Line 2 of the journal is not in"),
    ],
)
def test_what_it_refuses(rig: Rig, study: Study, words: tuple[str, ...], told: str) -> None:
    said = rig("study", "correct", *words)
    assert said.code == 2
    assert told in said.err
    assert study.journal_path.exists() is False


def test_a_line_in_doubt_is_confirmed_or_taken_out(rig: Rig, study: Study) -> None:
    for grams in (441.0, 442.0):
        append(study.journal_path, Mass(at="2026-05-01T07:00:00Z", bag="T1", mass_g=grams))
    data = study.journal_path.read_bytes()
    spoilt = data.replace(b"441.0", b"448.0").replace(b"442.0", b"449.0")
    study.journal_path.write_bytes(spoilt)
    status = rig("study", "status", "club").out
    assert "Line 2 of journal.jsonl was changed after it was written" in status
    assert "Line 3 of journal.jsonl was changed" in status
    assert rig("study", "correct", "club", "--line", "2", "--confirm", "--why", "seen").code == 0
    assert rig("study", "correct", "club", "--line", "3", "--void", "--why", "wrong").code == 0
    assert "was changed" not in rig("study", "status", "club").out
    journal = open_study(study.path).journal
    assert [mass.mass_g for mass in journal.of(Mass)] == [448.0]


def write_table(*lines: str, head: str = HEAD) -> str:
    Path("hand.csv").write_text("\n".join([head, *lines]) + "\n", "utf-8")
    return "hand.csv"


def test_a_table_of_readings_becomes_slides(rig: Rig, study: Study) -> None:
    table = write_table(
        "2026-05-02T08:00Z,Ida,T2,slick,A,24.5,21,50,",
        "2026-05-02T08:00Z,Ida,T2,slick,A,25,21,50,",
        "",
        '2026-05-02T08:10Z,Ida,T2,grip,A,28.5,,,"windy, but dry"',
    )
    said = rig("study", "reading", "club", "--from", table)
    assert (said.code, said.out.count("reading of T2")) == (0, 2)
    first, second = open_study(study.path).journal.of(Reading)
    assert first.angles_deg == (24.5, 25.0)
    assert (first.temperature_c, first.relative_humidity_pct) == (21.0, 50.0)
    assert (second.angles_deg, second.temperature_c) == ((28.5,), None)
    assert second.note == "windy, but dry"
    again = rig("study", "reading", "club", "--from", table)
    assert again.code == 2
    assert "hand.csv, line 2: the journal has this reading already" in again.err


def test_a_spreadsheet_with_commas_in_numbers_is_read(rig: Rig, study: Study) -> None:
    table = write_table(
        "Ida;T2;slick;A;22,345;2026-05-02T08:00Z", head="reader;bag;face;board;angle_deg;at"
    )
    assert rig("study", "reading", "club", "--from", table).code == 0
    assert open_study(study.path).journal.of(Reading)[0].angles_deg == (22.345,)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("2026-05-02T08:00Z,Ida,T9,slick,A,24.5,,,", "line 3: The study knows no bag 'T9'"),
        ("2026-05-02T08:00Z,Ida,T2,slick,A,steep,,,", "`angle_deg` must be a number"),
        ("2026-05-02T08:00Z,Ida,T2,slick,A,124,,,", "must lie between 0.01 and 89.99"),
        ("2026-05-02T08:00Z,,T2,slick,A,24.5,,,", "`reader` is empty"),
        ("yesterday,Ida,T2,slick,A,24.5,,,", "line 3"),
        ("2026-05-02T08:00Z,Ida,T2,slick,A,24.5,21,150,", "`relative_humidity_pct` must lie"),
        ('2026-05-02T08:00Z,Ida,T2,slick,A,"24,500",,,', "can be read in two ways"),
        ("2026-05-02T08:00Z,I\x1bda,T2,slick,A,24.5,,,", "The reader 'I\\x1bda' has a control"),
        ("1926-05-02T08:00Z,Ida,T2,slick,A,24.5,,,", "long before"),
    ],
)
def test_one_bad_line_and_nothing_is_taken(rig: Rig, study: Study, line: str, told: str) -> None:
    table = write_table("2026-05-02T08:00Z,Ida,T2,slick,A,24.5,21,50,", line)
    said = rig("study", "reading", "club", "--from", table)
    assert said.code == 2
    assert told in said.err
    assert "Nothing was taken" in said.err
    assert not study.journal_path.exists()


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("at,reader,bag,face,board", "it lacks angle_deg"),
        (f"{HEAD},wind", "wind is unknown"),
        (f"{HEAD},at", "must name the columns"),
    ],
)
def test_the_columns_must_be_known(rig: Rig, study: Study, head: str, told: str) -> None:
    said = rig("study", "reading", "club", "--from", write_table(head=head))
    assert said.code == 2
    assert told in said.err


def test_a_baseline_read_by_hand_is_a_baseline(rig: Rig, study: Study) -> None:
    treat = (
        "study",
        "treat",
        "club",
        "--bag",
        "T2",
        "--recipe",
        "soft",
        "--at",
        "2026-05-03T08:00",
    )
    assert "T2 has no baseline slide" in rig(*treat).err
    table = write_table("2026-05-02T08:00Z,Ida,T2,slick,A,24.5,21,50,")
    assert rig("study", "reading", "club", "--from", table).code == 0
    assert rig(*treat).code == 0


def test_readings_alone_are_a_table(rig: Rig, tmp_path: Path) -> None:
    """Without any run of the rig the study has a status and an export."""
    make_study(tmp_path / "hand")
    table = write_table("2026-05-02T08:00Z,Ida,T2,slick,A,24.5,21,50,")
    assert rig("study", "reading", "hand", "--from", table).code == 0
    assert rig("study", "status", "hand").code == 0
    rows = rig("study", "export", "hand", "--json").document["runs"]
    assert [(r["bag"], r["onset_angle_deg"], r["onset_method"]) for r in rows] == [
        ("T2", 24.5, "by_hand")
    ]
