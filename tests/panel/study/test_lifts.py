"""Lifts that a phone sends: kept, measured, noted once, put right as other readings are."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.panel.study.pages import MAX_LIFT
from rig.study.export import columns, row_of
from rig.study.folder.journal import Reading
from rig.study.folder.study import open_study
from rig.study.phone.trace import FOLDER, read_trace
from rig.study.slides.slide import Slide
from rig.study.slides.table import slide_table
from tests.fastsim.phone import Phone, Trouble, lift
from tests.panel.study.club import make_club
from tests.panel.study.stand import StudyStand


@pytest.fixture
def stand(tmp_path: Path) -> Iterator[StudyStand]:
    stand = StudyStand(make_club(tmp_path / "club").path)
    yield stand
    stand.runner.close()


class Hand:
    """Lifts a board with a phone on it."""

    def __init__(self, seed: int) -> None:
        self.phone = Phone(np.random.default_rng(seed), Trouble())
        self.zero = self.phone.zero()

    def body(self, slide_deg: float = 18.0, **changes: Any) -> dict[str, Any]:
        samples, _ = lift(self.phone, slide_deg, 3.0)
        return {
            "bag": "Harbour 1", "face": "grip", "board": "shed board", "reader": "Ines",
            "pace": "3", "zero": self.zero, "samples": samples, "temperature": "21",
            "humidity": "48", **changes,
        }  # fmt: skip


@pytest.fixture(scope="module")
def hand() -> Hand:
    return Hand(21)


@pytest.fixture
def post(stand: StudyStand) -> Callable[..., Any]:
    keys = iter(range(1000))

    def send(body: dict[str, Any], path: str = "lift") -> Any:
        return stand.controller.post(f"/study/{path}", {"key": f"key{next(keys):09}", **body})

    return send


def slides(stand: StudyStand) -> list[Slide]:
    return slide_table(open_study(stand.folder)).valid


def traces(stand: StudyStand) -> list[Path]:
    return sorted((stand.folder / FOLDER).glob("*.trace.jsonl"))


def test_a_lift_becomes_a_slide_with_its_layers_and_its_trace(stand, post, hand) -> None:
    answer = post(hand.body()).document
    assert answer["slid"]
    assert answer["angle_deg"] == pytest.approx(18.0, abs=4 * answer["u_deg"])
    (slide,) = slides(stand)
    assert (slide.bag, slide.reader, slide.source, slide.slid) == (
        "Harbour 1",
        "Ines",
        "hand",
        True,
    )
    assert (slide.temperature_c, slide.relative_humidity_pct) == (21.0, 48.0)
    layers = (slide.u_sensor_deg, slide.u_zero_deg, slide.u_tap_deg, slide.u_rate_deg)
    assert all(one is not None and one > 0.0 for one in layers)
    total = float(np.sqrt(sum(one**2 for one in layers if one)))
    assert slide.u_onset_angle_deg == pytest.approx(total)
    (path,) = traces(stand)
    assert slide.trace == path.name
    assert read_trace(path).header.reader == "Ines"


def test_it_stands_in_the_export(stand, post, hand) -> None:
    post(hand.body())
    study = open_study(stand.folder)
    row = row_of(study, slides(stand)[0])
    assert row.keys() == columns().keys()
    assert row["onset_method"] == "by_phone"
    assert row["u_tap_deg"] > 0.0
    assert row["u_onset_angle_deg"] > row["u_random_deg"]
    assert row["trace"]


def test_a_lift_that_is_sent_again_is_noted_once(stand, hand) -> None:
    body = {"key": "abcdefgh1234", **hand.body()}
    assert stand.client().post("/study/lift", body).status == 403
    assert traces(stand) == []
    first = stand.controller.post("/study/lift", body)
    stand.wait(seconds=20)
    again = stand.controller.post("/study/lift", body)
    assert (first.status, again.text) == (200, first.text)
    assert len(slides(stand)) == len(traces(stand)) == 1


def test_a_lift_without_a_slide_is_kept_and_told_also_when_it_is_sent_again(
    stand, post, hand
) -> None:
    body = hand.body()
    body["samples"]["taps_s"] = []
    sent = {"key": "abcdefgh1234", **body}
    answers = [stand.controller.post("/study/lift", sent).document for _ in range(2)]
    assert answers[0] == answers[1]
    assert not answers[0]["slid"]
    assert "no tap" in answers[0]["text"]
    assert stand.lines == []
    assert len(traces(stand)) == 1


def test_a_lift_of_an_unknown_bag_stays_with_the_phone(stand, post, hand) -> None:
    answer = post(hand.body(bag="Harbor 1"))
    assert answer.status == 400
    assert "did you mean 'Harbour 1'" in answer.text
    assert traces(stand) == []


def test_a_lift_that_waited_in_the_phone_counts_from_when_it_was_made(stand, post, hand) -> None:
    post(hand.body(age_s=5400.0))
    (entry,) = stand.journal.of(Reading)
    waited = stand.now.timestamp() - np.datetime64(entry.at[:-1]).astype("datetime64[s]").astype(
        int
    )
    assert waited == pytest.approx(5400, abs=2)


def test_lifts_in_a_row_are_a_series_until_the_bag_changes_or_time_passes(
    stand, post, hand
) -> None:
    for change in ({}, {}, {"bag": "Harbour 2"}, {}):
        post(hand.body(**change))
        stand.wait(minutes=1)
    stand.wait(minutes=15)
    post(hand.body())
    found = [(one.series, one.slide_number) for one in slides(stand)]
    assert [number for _, number in found] == [1, 2, 1, 1, 1]
    assert len({series for series, _ in found}) == 4


def test_a_lift_is_put_right_and_taken_back_like_any_reading(stand, post, hand) -> None:
    post(hand.body())
    line = stand.journal.of(Reading)[0].line
    post({"line": line, "bag": "Harbour 2", "face": "slick"}, "correct")
    (slide,) = slides(stand)
    assert (slide.bag, slide.face) == ("Harbour 2", "slick")
    assert slide.trace is not None
    (item,) = stand.controller.ask("GET", "/study").document["done"]
    assert "with a phone" in item["text"]
    post({"line": item["line"]}, "undo")
    assert slides(stand) == []
    assert len(traces(stand)) == 1, "what was recorded stays"


def test_a_zero_is_told_in_words_and_writes_nothing(stand, hand) -> None:
    watcher = stand.client()
    text = watcher.post("/study/zero", {"zero": hand.zero}).text
    assert "Zeroed. The board leans by" in text
    assert stand.lines == []
    bad = {"zero": {**hand.zero, "first": {**hand.zero["first"], "sd_m_s2": 2.0}}}
    assert "did not lie still" in watcher.post("/study/zero", bad).text


def test_more_than_a_lift_can_be_is_refused(stand) -> None:
    answer = stand.controller.post("/study/lift", {"key": "x" * (MAX_LIFT + 1)})
    assert answer.status == 413


def test_the_phones_page_is_served_with_a_study_alone(stand) -> None:
    page = stand.client().ask("GET", "/phone")
    assert b"Phone on the board" in page.data
    for name in ("phone.css", "phone.js", "phone-kept.js", "phone-motion.js"):
        assert stand.client().ask("GET", f"/{name}").status == 200
