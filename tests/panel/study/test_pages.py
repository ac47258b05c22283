"""What the study's addresses take from whom, what they write, and how it is taken back."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.files.stamps import utc_text
from rig.panel import link
from rig.panel.form import MAX_BODY
from rig.panel.study.book import Book
from rig.panel.study.forms import BagForm, PlayForm
from rig.panel.study.writes import add_bag
from rig.procedures.studied import series_requests
from rig.settings.model import Settings
from rig.study.folder.journal import Mass, Play, Reading, Treatment, Withdrawal
from rig.study.folder.study import new_study, open_study
from rig.twin.home import new_home
from tests.panel.paper import IDLE, snapshot
from tests.panel.study.club import make_club
from tests.panel.study.stand import ANSWER, StudyStand
from tests.study.folder_example import slide_lines

READING = {
    "bag": "Harbour 1", "face": "grip", "board": "shed board", "reader": "Ann",
    "angles": ["25.1", "25,3"],
}  # fmt: skip
WRITES: list[tuple[str, dict[str, Any]]] = [
    ("reading", READING),
    ("treat", {"recipe": "soft soak", "bags": ["Harbour 1", "Harbour 2"], "sure": True,
               "anyway": True}),
    ("play", {"bags": ["Harbour 1"], "throws": "100"}),
    ("mass", {"bag": "Harbour 1", "grams": "440"}),
    ("droop", {"bag": "Harbour 1", "face": "grip", "overhang": "51", "reader": "Ann",
               "angles": ["24", "26"]}),
    ("wipe", {"board": "shed board"}),
]  # fmt: skip


def test_notes_on_a_simulated_rigs_study_go_by_its_clock(tmp_path: Path) -> None:
    begin = datetime(2026, 5, 4, 8, tzinfo=UTC)
    home = new_home(tmp_path / "shed", seed=7, now=begin)
    study = new_study(home.folder / "club", "club")
    add_bag(study, BagForm(key="a" * 12, name="Harbour 1"))
    home.wait(begin + timedelta(hours=3))
    Book(study.path, by_hand=True).play(PlayForm(key="b" * 12, bags=["Harbour 1"], throws="40"))
    (line,) = open_study(study.path).journal.of(Play)
    assert line.at == "2026-05-04T11:00:00Z"


@pytest.fixture
def club(tmp_path: Path) -> Path:
    return make_club(tmp_path / "club").path


@pytest.fixture
def stand(club: Path) -> Iterator[StudyStand]:
    stand = StudyStand(club)
    yield stand
    stand.runner.close()


@pytest.fixture
def beside_rig(club: Path) -> Iterator[StudyStand]:
    stand = StudyStand(club, has_rig=True)
    yield stand
    stand.runner.close()


@pytest.fixture
def post(stand: StudyStand) -> Callable[..., Any]:
    """Posts as the controller, with a key of its own each time; returns the document."""
    keys = iter(range(1000))

    def send(path: str, body: dict[str, Any]) -> Any:
        answer = stand.controller.post(f"/study/{path}", {"key": f"key {next(keys):06}", **body})
        assert answer.status == 200, answer.data
        return answer.document

    return send


# -- every write ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("path", "body"), WRITES, ids=[path for path, _ in WRITES])
def test_a_write_takes_the_controls_and_happens_once(
    stand: StudyStand, path: str, body: dict[str, Any]
) -> None:
    stand.controller.post("/take")
    sent = {"key": "12345678", **body}
    assert stand.client().post(f"/study/{path}", sent).status == 403
    assert stand.client(paired=True).post(f"/study/{path}", sent).status == 409
    assert stand.lines == []
    first = stand.controller.post(f"/study/{path}", sent)
    stand.wait(seconds=5)
    again = stand.controller.post(f"/study/{path}", sent)
    assert (first.status, again.status) == (200, 200)
    assert first.text == again.text
    written = stand.lines
    assert len(written) == len(body.get("bags", [1]))
    assert {entry.key for entry in written} == {"12345678"}
    assert {entry.at for entry in written} == {utc_text(stand.now - timedelta(seconds=5))}


@pytest.mark.parametrize(("path", "body"), WRITES, ids=[path for path, _ in WRITES])
def test_a_write_is_taken_back_by_a_line(
    stand: StudyStand, post: Callable[..., Any], path: str, body: dict[str, Any]
) -> None:
    post(path, body)
    (item,) = stand.controller.ask("GET", "/study").document["done"]
    post("undo", {"line": item["line"]})
    assert stand.lines == []
    kept = [entry for entry in stand.journal.lines if isinstance(entry, Withdrawal)]
    assert len(kept) == len(body.get("bags", [1]))


def test_what_is_not_the_studys_own_page_is_refused(stand: StudyStand) -> None:
    body = b'{"key": "12345678", "board": "shed board"}'
    asked = stand.controller.ask("POST", "/study/wipe", body, Content_Type="text/plain")
    assert asked.status == 415
    other = {"Content_Type": "application/json", "Origin": "http://elsewhere"}
    assert stand.controller.ask("POST", "/study/wipe", body, **other).status == 403
    assert stand.controller.post("/study/wipe", {"key": "x" * MAX_BODY}).status == 413
    assert stand.lines == []


@pytest.mark.parametrize(
    ("path", "change", "why"),
    [
        ("reading", {"angles": ["95"]}, "must lie between"),
        ("reading", {"face": "back"}, "knows no face 'back'"),
        ("reading", {"board": "floor"}, "knows no board"),
        ("reading", {"bag": "Harbor 1"}, "did you mean 'Harbour 1'?"),
        ("play", {"throws": "0"}, "must lie between"),
        ("mass", {"grams": "5"}, "must lie between"),
        ("treat", {"recipe": "hot boil"}, "knows no treatment"),
        ("droop", {"overhang": "x"}, "takes a number"),
        ("wipe", {"key": "short"}, "cannot be read"),
    ],
)
def test_what_cannot_be_is_told(
    stand: StudyStand, path: str, change: dict[str, Any], why: str
) -> None:
    body = {"key": "12345678", **dict(WRITES)[path], **change}
    answer = stand.controller.post(f"/study/{path}", body)
    assert answer.status == 400
    assert why in answer.text
    assert stand.lines == []


# -- each of them ---------------------------------------------------------------------------------


def test_a_reading_has_the_air_that_was_typed(stand: StudyStand, post: Callable[..., Any]) -> None:
    post("reading", READING | {"temperature": "72F", "humidity": "55"})
    (entry,) = stand.journal.of(Reading)
    assert entry.angles_deg == (25.1, 25.3)
    assert entry.temperature_c == pytest.approx(22.2, abs=0.05)
    assert (entry.relative_humidity_pct, entry.climate_source) == (55.0, "typed")
    document = stand.controller.ask("GET", "/study").document
    assert (document["reader"], document["board"]) == ("Ann", "shed board")
    assert document["air"][1] == "55"
    stand.wait(hours=4)
    assert stand.controller.ask("GET", "/study").document["air"] == ["", ""]


def test_a_treatment_asks_before_it_is_noted(stand: StudyStand, post: Callable[..., Any]) -> None:
    for bag in ("Harbour 1", "Harbour 4"):
        post("reading", READING | {"bag": bag})
    stand.wait(seconds=5)
    asked = post("treat", {"recipe": "soft soak", "bags": ["Harbour 1"]})["ask"]
    assert asked[0] == "This cannot be undone on the bags."
    assert "four of five such trials" in asked[1]
    assert any("Rinse until no suds come" in one for one in asked)
    assert stand.journal.of(Treatment) == []
    stand.wait(seconds=5)
    post("treat", {"recipe": "soft soak", "bags": ["Harbour 1"], "sure": True})
    (entry,) = stand.journal.of(Treatment)
    assert (entry.stage, entry.recipe, len(entry.steps)) == ("after 1", "soft soak", 2)


def test_a_bag_without_a_baseline_is_treated_only_on_purpose(stand: StudyStand) -> None:
    body = {"key": "12345678", "recipe": "soft soak", "bags": ["Harbour 1"]}
    for sure in (False, True):
        answer = stand.controller.post("/study/treat", body | {"sure": sure})
        assert answer.status == 400
        assert "has no baseline slide" in answer.text
    assert (
        stand.controller.post("/study/treat", body | {"sure": True, "anyway": True}).status == 200
    )


def test_readings_of_the_wrong_bag_are_put_right(
    stand: StudyStand, post: Callable[..., Any]
) -> None:
    post("reading", READING)
    (line,) = stand.lines
    post("correct", {"line": line.line, "bag": "Harbour 2", "face": "slick"})
    (entry,) = stand.journal.of(Reading)
    assert (entry.bag, entry.face, entry.angles_deg) == ("Harbour 2", "slick", (25.1, 25.3))
    post("correct", {"line": entry.line, "void": True})
    assert stand.journal.of(Reading) == []


def test_new_bags_and_boards(stand: StudyStand, post: Callable[..., Any]) -> None:
    assert "is in the study now" in post("bag", {"name": "Harbour 5", "set": "Harbour"})["text"]
    assert "already" in post("bag", {"name": "Harbour 5"})["text"]
    post("board", {"name": "club board"})
    catalogue = open_study(stand.folder).catalogue
    assert catalogue.bags["Harbour 5"].set == "Harbour"
    assert list(catalogue.boards) == ["shed board", "club board"]


def test_readings_of_the_pick_tell_about_the_day(
    stand: StudyStand, post: Callable[..., Any]
) -> None:
    pick = READING | {"bag": "Harbour 2", "angles": ["22.9", "23.1", "23.4"]}
    said = post("reading", pick)["text"]
    assert said.endswith(
        "Here bags slide 0.9° earlier than expected: this board is slicker today."
        " Use Harbour 1, grip."
    )


@pytest.mark.parametrize(
    ("angle", "said"),
    [
        ("24.6", "Here bags slide 0.6° later than expected: this board is slower today."),
        ("24.0", "Bags slide here as expected."),
    ],
)
def test_a_pick_that_lies_within_its_tolerance_is_kept(
    stand: StudyStand, post: Callable[..., Any], angle: str, said: str
) -> None:
    """As on the printed sheet, also where another bag would lie nearer to its target."""
    others = [one | {"angle_deg": 23.4} for one in ANSWER["bags"][:1]]
    stand.thinker.answer = ANSWER | {"bags": [*others, *ANSWER["bags"][1:]]}
    pick = READING | {"bag": "Harbour 2", "angles": [angle] * 3}
    assert post("reading", pick)["text"].endswith(f"{said} Use Harbour 2, grip.")


@pytest.mark.parametrize(("angle", "question"), [("25.3", ""), ("22.0", "3.0° below")])
def test_a_series_far_from_its_forecast_is_asked_about(
    stand: StudyStand, post: Callable[..., Any], angle: str, question: str
) -> None:
    stand.now = stand.now.replace(year=2026, month=11, day=27)
    post("reading", READING | {"angles": [angle] * 3})
    last = stand.controller.ask("GET", "/study").document["last"]
    assert last["question"].startswith(question)
    assert bool(last["question"]) == bool(question)
    knows = [one | {"angle_deg": float(angle)} for one in ANSWER["bags"]]
    if question:
        stand.thinker.answer = ANSWER | {"as_of": utc_text(stand.now), "bags": knows}
    again = stand.controller.ask("GET", "/study").document["last"]
    assert again["question"] == last["question"]  # an answer that knows it asks no other


# -- looking --------------------------------------------------------------------------------------


def test_a_page_that_has_seen_it_gets_nothing(stand: StudyStand, post: Callable[..., Any]) -> None:
    post("wipe", {"board": "shed board"})
    seen = stand.controller.ask("GET", "/study").document
    asks = f"/study?seen={seen['version']}"
    assert stand.controller.ask("GET", asks).status == 204
    post("wipe", {"board": "shed board"})
    assert stand.controller.ask("GET", asks).status == 200
    assert not stand.client().ask("GET", "/study").document["writes"]


def test_each_face_is_next_until_it_is_measured(
    stand: StudyStand, post: Callable[..., Any]
) -> None:
    rows = stand.controller.ask("GET", "/study").document["rows"]
    assert {(row["bag"], row["face"]) for row in rows} == {
        (f"Harbour {i}", face) for i in (1, 2, 3, 4) for face in ("slick", "grip")
    }
    for row in rows:
        post("reading", READING | {"bag": row["bag"], "face": row["face"], "angles": ["25"] * 3})
    document = stand.controller.ask("GET", "/study").document
    assert {row["left"] for row in document["rows"]} == {0}
    assert document["treat"] == ["soft soak", ["Harbour 1", "Harbour 2", "Harbour 3"]]
    stand.wait(hours=20)
    document = stand.controller.ask("GET", "/study").document
    assert document["treat"] is None
    assert {row["left"] for row in document["rows"]} == {3}


def test_todays_pick_asks_with_the_air_that_was_typed(stand: StudyStand) -> None:
    air = {"temperature": "22", "humidity": "55"}
    found = stand.client().post("/study/pick", air)
    assert found.document["answer"]["first"] == "Use Harbour 2, grip."
    (wanted,) = stand.thinker.asked
    assert (wanted.temperature_c, wanted.relative_humidity_pct, wanted.board) == (22.0, 55.0, None)
    assert stand.client().post("/study/pick", air | {"humidity": "155"}).status == 400
    assert stand.client().post("/study/pick", air | {"board": "moon"}).status == 400


def test_the_whole_page_takes_less_than_60_kb(beside_rig: StudyStand) -> None:
    paths = ("/", "/panel.css", "/panel.js", "/draw.js", "/icon.svg", "/study.css", "/study.js")
    client = beside_rig.client()
    sent = [client.ask("GET", path) for path in paths]
    assert all(answer.status == 200 for answer in sent)
    assert sum(len(answer.data) for answer in sent) < 60_000


def test_without_a_rig_its_parts_are_left_out(stand: StudyStand) -> None:
    page = stand.client().ask("GET", "/").data
    assert b'<body class="alone">' in page
    assert b"study.js" in page
    assert stand.client().post("/stop").status == 404
    assert stand.controller.post("/study/measure", {}).status == 404
    actions = stand.client().ask("GET", "/study").document["actions"]
    assert actions["pair"]
    assert not actions["start"]["shown"]


# -- beside a rig ---------------------------------------------------------------------------------

EVENING = {"key": "12345678", "board": "shed board",
           "rows": [["Harbour 1", "grip"], ["Harbour 2", "slick"]]}  # fmt: skip


def test_series_begin_one_after_another(beside_rig: StudyStand) -> None:
    stand = beside_rig
    stand.controller.post("/take")
    assert stand.client(paired=True).post("/study/measure", EVENING).status == 409
    assert stand.desk.wishes == []
    for _ in range(2):
        assert stand.controller.post("/study/measure", EVENING).status == 202
    (wish,) = stand.desk.wishes
    assert isinstance(wish, link.EveningMessage)
    sent = link.decode_message(link.encode(wish))
    assert sent == wish
    first, second = (
        series_requests(one, Settings(), source="twin", started=stand.now) for one in wish.series
    )
    assert [(r.bag, r.face, r.slide_number, r.treatment_stage) for r in first] == [
        ("Harbour 1", "grip", number, "baseline") for number in range(1, 6)
    ]
    assert {(r.bag, r.face, r.set, r.board) for r in second} == {
        ("Harbour 2", "slick", "Harbour", "shed board")
    }


@pytest.mark.parametrize(
    ("shown", "body", "status"),
    [
        (snapshot(), EVENING, 409),
        (IDLE._replace(is_latched=True), EVENING, 409),
        (IDLE, EVENING | {"rows": [["Heron", "grip"]]}, 400),
        (IDLE, EVENING | {"board": "floor"}, 400),
    ],
)
def test_series_that_cannot_begin(
    beside_rig: StudyStand, shown: Any, body: dict[str, Any], status: int
) -> None:
    beside_rig.show(shown)
    assert beside_rig.controller.post("/study/measure", body).status == status
    assert beside_rig.desk.wishes == []


def test_the_air_of_the_sensor(beside_rig: StudyStand) -> None:
    beside_rig.show(snapshot())
    document = beside_rig.controller.ask("GET", "/study").document
    assert document["sensor"] == ["23.0", "51"]
    assert not document["by_hand"]
    assert b"<body>" in beside_rig.client().ask("GET", "/").data


def test_masses_and_throws_are_kept_as_numbers(stand: StudyStand, post: Callable[..., Any]) -> None:
    post("mass", {"bag": "Harbour 1", "grams": "15.5oz"})
    post("play", {"bags": ["Harbour 1", "Harbour 2"], "throws": "200"})
    (mass,) = stand.journal.of(Mass)
    assert mass.mass_g == pytest.approx(439.4, abs=0.1)
    assert [(one.bag, one.throws) for one in stand.journal.of(Play)] == [
        ("Harbour 1", 200), ("Harbour 2", 200),
    ]  # fmt: skip


def test_a_run_under_way_is_no_slide_yet(beside_rig: StudyStand) -> None:
    stand = beside_rig
    folder = stand.folder / "runs" / "2026-11-27"
    folder.mkdir(parents=True)
    header, lines, _ = slide_lines(50.0)
    first = msgspec.structs.replace(header, bag="Harbour 1", face="grip", board="shed board")
    head = msgspec.json.encode(first) + b"\n"
    (folder / "1.run.jsonl").write_bytes(head)
    stand.show(snapshot())
    seen = stand.controller.ask("GET", "/study").document
    assert seen["done"] == []
    assert seen["problems"] == []
    (folder / "1.run.jsonl").write_bytes(head + lines)
    assert stand.controller.ask("GET", f"/study?seen={seen['version']}").status == 204
    stand.show(IDLE)
    document = stand.controller.ask("GET", f"/study?seen={seen['version']}").document
    assert [one["is"] for one in document["done"]] == ["run"]


def test_a_run_that_was_cut_off_is_told_of_once_the_rig_rests(beside_rig: StudyStand) -> None:
    stand = beside_rig
    stand.show(IDLE)
    folder = stand.folder / "runs" / "2026-11-27"
    folder.mkdir(parents=True)
    (folder / "1.run.jsonl").write_bytes(msgspec.json.encode(slide_lines(50.0)[0]) + b"\n")
    document = stand.controller.ask("GET", "/study").document
    assert "has no last line" in document["problems"][0]


def test_a_run_is_put_right_and_that_is_taken_back(beside_rig: StudyStand) -> None:
    stand = beside_rig
    stand.show(IDLE)
    folder = stand.folder / "runs" / "2026-11-27"
    folder.mkdir(parents=True)
    header, lines, _ = slide_lines(50.0)
    first = msgspec.structs.replace(header, bag="Harbour 1", face="grip", board="shed board")
    (folder / "1.run.jsonl").write_bytes(msgspec.json.encode(first) + b"\n" + lines)
    (item,) = stand.controller.ask("GET", "/study").document["done"]
    body = {"key": "12345678", "run": item["run"], "bag": "Harbour 2", "face": "slick"}
    assert stand.controller.post("/study/correct", body).status == 200
    line, run = sorted(
        stand.controller.ask("GET", "/study").document["done"], key=lambda one: one["is"]
    )
    assert run["text"].startswith("Harbour 2, slick")
    assert line["text"] == "A slide was of Harbour 2, slick"
    stand.controller.post("/study/undo", {"key": "123456789", "line": line["line"]})
    (item,) = stand.controller.ask("GET", "/study").document["done"]
    assert item["text"].startswith("Harbour 1, grip")
    body = {"key": "1234567890", "run": "no such run", "void": True}
    assert "is not in the study" in stand.controller.post("/study/correct", body).text
