"""The model's process, from outside and from inside."""

import asyncio
import io
import json
import os
import resource
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from rig.errors import BadInputError
from rig.panel.study import answers
from rig.panel.study.answers import Enquiry, shown
from rig.panel.study.thinker import Thinker
from rig.study.answer import words
from rig.study.answer.answer import Answer
from tests.panel.study.club import make_club

PRINTS = "json.tool"
"""Prints the JSON file that it is given in the place of a study."""
SPREAD = {"median": 0.3, "lower": 0.2, "upper": 0.4}
ANSWER: dict[str, Any] = {
    "as_of": "2026-05-30T10:00:00Z",
    "air": {"temperature_c": 22.0, "relative_humidity_pct": 50.0, "surface_humidity_pct": 50.0},
    "targets": [{"face": "grip", "angle_deg": 24.0, "tolerance_deg": 0.8}],
    "quality": {"pareto_k": 0.2, "ess": 900.0, "prior_carried": []},
    "treatments": [],
    "bags": [
        {"bag": "Harbour 1", "face": "grip", "board": "shed board", "angle_deg": 24.62,
         "lower_deg": 24.18, "upper_deg": 25.04, "target_deg": 24.0, "tolerance_deg": 0.8,
         "to_target_deg": -0.62, "p_within": 0.62, "p_below_target": 0.0, "advice": "stop",
         "forecast": [], "throws_to_target": None},
    ],
    "picks": [{"bag": "Harbour 1", "face": "grip", "angle_deg": 24.62, "lower_deg": 24.18,
               "upper_deg": 25.04, "p_within": 0.62}],
    "best_four": None, "sets": [], "weather": [], "boards": [], "next": [],
    "unknown": ["Much."], "sentences": ["Use Harbour 1, grip.", "Stop."],
    "scatter": {
        f"{layer}_sd_deg": SPREAD for layer in ("run", "series", "session", "bag", "response")
    },
}  # fmt: skip


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "answer.json"
    path.write_text('{"first": "one"}')
    return path


def test_an_answer_is_worked_out_once_for_each_version(file: Path) -> None:
    async def story() -> None:
        thinker = Thinker(file, PRINTS)
        thinker.want("1")
        assert thinker.is_working
        await asyncio.wait_for(thinker._task or asyncio.sleep(0), 60)  # noqa: SLF001
        assert thinker.answer == {"first": "one"}
        version = thinker.version
        thinker.want("1")
        assert not thinker.is_working
        assert thinker.version == version
        file.write_text("no JSON")
        thinker.want("2")
        await asyncio.wait_for(thinker._task or asyncio.sleep(0), 60)  # noqa: SLF001
        assert thinker.answer == {
            "error": "The answer could not be worked out; `rig answer` says why."
        }
        assert thinker.version != version
        await thinker.close()

    asyncio.run(story())


@pytest.fixture
def endless(tmp_path: Path) -> Path:
    """A file that is never read to its end."""
    path = tmp_path / "endless.json"
    os.mkfifo(path)
    return path


def test_a_model_that_takes_too_long_is_ended(
    endless: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.panel.study.thinker.LONGEST_S", 0.1)
    with pytest.raises(BadInputError, match="could not be worked out"):
        asyncio.run(Thinker(endless, PRINTS).ask(Enquiry()))


def test_closing_ends_what_is_being_worked_out(endless: Path) -> None:
    async def story() -> None:
        thinker = Thinker(endless, PRINTS)
        thinker.want("1")
        await asyncio.sleep(0.1)
        assert thinker.is_working
        await thinker.close()
        assert not thinker.is_working

    asyncio.run(story())


def test_the_answer_in_the_words_of_every_other_place() -> None:
    answer = msgspec.convert(ANSWER, Answer)
    document = shown(answer)
    (bag,) = document["bags"]
    assert bag["now"] == words.angle_words(answer.bags[0]) == "24.6° (24.2 to 25.0)"
    assert bag["advice"] == words.advice_words(answer.bags[0])
    assert (bag["target"], bag["within"]) == ("24.0° ± 0.8°", "62 %")
    assert (document["first"], document["others"]) == (answer.sentences[0], ["Stop."])
    assert document["shift"] == words.shift_sentence(answer)
    assert document["pick"] == ["Harbour 1", "grip"]
    assert set(document["scatter"]) == {"run_deg", "series_deg", "session_deg", "response_deg"}


def test_the_process_steps_back_and_tells_why_there_is_no_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[Any] = []
    out = io.BytesIO()
    monkeypatch.setattr("os.nice", done.append)
    monkeypatch.setattr(resource, "setrlimit", lambda *what: done.append(what))
    monkeypatch.setattr(sys, "argv", ["answers", str(make_club(tmp_path / "club").path)])
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"{}")))
    monkeypatch.setattr(sys, "stdout", SimpleNamespace(buffer=out))
    answers.main()
    assert done == [
        answers.NICE,
        (resource.RLIMIT_AS, (answers.MOST_BYTES, answers.MOST_BYTES)),
    ]
    assert json.loads(out.getvalue()) == {"error": "Nothing is measured yet. Put the first bag on."}
