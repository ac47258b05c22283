"""A whole answer: its sentences, its lines for a terminal, and what it leaves out."""

from pathlib import Path

import msgspec
import pytest

from rig.errors import BadInputError
from rig.study.answer import words
from rig.study.answer.answer import Answer
from rig.study.answer.ask import air_at, ask
from rig.study.answer.lines import MOST_LINES, WIDTH, lines_of
from rig.study.folder.study import new_study, open_study
from tests.study.answer.evening import evening

KEYS = {
    "as_of",
    "experience",
    "air",
    "targets",
    "quality",
    "treatments",
    "bags",
    "picks",
    "best_four",
    "sets",
    "boards",
    "weather",
    "scatter",
    "next",
    "unknown",
    "sentences",
    "others",
}


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three treated bags and a control, both faces, read by hand before and after."""
    return evening(tmp_path_factory.mktemp("answer") / "club", seed=1).path


@pytest.fixture(scope="module")
def found(club: Path) -> Answer:
    return ask(open_study(club)).answer


def test_the_object_has_the_keys_that_programs_read(found: Answer) -> None:
    plain = msgspec.to_builtins(found)
    assert set(plain) == KEYS
    assert set(plain["bags"][0]) >= {"to_target_deg", "p_below_target", "advice", "forecast"}
    assert set(plain["scatter"]) == {
        f"{layer}_sd_deg" for layer in ("run", "series", "session", "bag", "response")
    }
    assert msgspec.json.decode(msgspec.json.encode(found), type=Answer) == found


def test_a_soak_of_minus_1_9_degrees_is_found_on_three_bags_and_a_control(found: Answer) -> None:
    assert [one.recipe for one in found.treatments] == ["soak", "soak"]
    for one in found.treatments:
        assert one.shown
        assert one.lower_deg < -1.9 < one.upper_deg
        assert one.n_bags == 3


def test_the_pick_is_the_likeliest_of_the_bags_below_it(found: Answer) -> None:
    likely = {(one.bag, one.face): one.p_within for one in found.bags}
    best = found.picks[0]
    assert likely[best.bag, best.face] == max(one.p_within or 0.0 for one in found.bags)
    assert f"Use {best.bag}, {best.face}: {best.angle_deg:.1f}°" in found.sentences[0]


def test_six_sentences_at_most_and_no_claim_that_is_not_shown(found: Answer) -> None:
    sure = [msgspec.structs.replace(one, shown=True) for one in found.weather]
    assert len(words.sentences(msgspec.structs.replace(found, weather=tuple(sure)))) == 6
    hidden = [msgspec.structs.replace(one, shown=False) for one in found.treatments]
    shy = msgspec.structs.replace(found, treatments=tuple(hidden))
    assert not any("lowers" in sentence for sentence in words.sentences(shy))
    told = words.unknown_sentences(
        hidden, found.weather, pareto_k=0.3, blocked=["Line 3 is in doubt."]
    )
    assert told[0] == "Line 3 is in doubt."
    assert sum("may lie anywhere from" in sentence for sentence in told) == 2


def test_a_model_is_named_wherever_several_were_measured(found: Answer) -> None:
    """Also where only one of them was treated: the same sentence stands in every place."""
    effect = msgspec.structs.replace(found.treatments[0], shown=True)
    weather = found.weather[0]
    other = msgspec.structs.replace(weather, model="Strand")
    named = f"the {effect.face} face of {effect.model}"
    for rows, is_named in (((weather,), False), ((weather, other), True)):
        study = msgspec.structs.replace(found, treatments=(effect,), weather=rows)
        hidden = [msgspec.structs.replace(effect, shown=False)]
        unknown = words.unknown_sentences(hidden, rows, pareto_k=0.3, blocked=[])
        for told in (words.sentences(study), lines_of(study, "x", everything=True), unknown):
            assert (named in " ".join(told)) is is_named


def test_a_computation_that_did_not_settle_is_told(found: Answer) -> None:
    for pareto_k, is_told in ((0.70, False), (0.71, True)):
        told = words.unknown_sentences([], [], pareto_k=pareto_k, blocked=[])
        assert any("did not settle" in sentence for sentence in told) is is_told


@pytest.mark.parametrize("everything", [False, True])
def test_lines_fit_a_terminal(found: Answer, everything: bool) -> None:
    many = msgspec.structs.replace(
        found,
        bags=tuple(
            msgspec.structs.replace(one, bag=f"{one.bag} of the quay by the old slipway")
            for one in found.bags * 3
        ),
        treatments=found.treatments * 5,
        unknown=found.unknown * 5,
    )
    lines = lines_of(
        many, "A club with a name that takes more than half of the line", everything=everything
    )
    assert max(map(len, lines)) <= WIDTH
    assert everything or len(lines) <= MOST_LINES
    assert any(line.startswith("Next:") for line in lines)
    n_bags = sum(line.startswith("Quay") for line in lines)
    assert n_bags == (24 if everything else 8)


def test_units_of_the_reader(found: Answer) -> None:
    assert "22 °C" in lines_of(found, "Quay club")[0]
    assert "72 °F" in lines_of(found, "Quay club", "us")[0]


def test_the_reference_bag_and_bags_in_doubt_have_no_part(tmp_path: Path) -> None:
    study = evening(tmp_path / "club", faces=("grip",))
    path = study.catalogue_path
    text = path.read_text("utf-8").replace('role = "control"', 'role = "reference"')
    path.write_text(text, "utf-8")
    journal = study.journal_path
    journal.write_text(journal.read_text("utf-8").replace('"bag":"Quay 2"', '"bag": "Quay 2"', 1))
    found = ask(open_study(study.path)).answer
    assert {one.bag for one in found.bags} == {"Quay 1", "Quay 3"}
    assert any("line" in sentence.lower() for sentence in found.unknown[:1])


def test_no_slide_is_a_sentence(tmp_path: Path) -> None:
    new_study(tmp_path / "empty", "Empty")
    with pytest.raises(BadInputError, match="no slide that counts yet"):
        ask(open_study(tmp_path / "empty"))


def test_one_bag_and_one_slide_give_a_wide_answer(tmp_path: Path) -> None:
    study = evening(tmp_path / "club", treated=1, controls=0, faces=("grip",), slides=1)
    found = ask(study).answer
    (one,) = found.bags
    assert 1.0 < one.upper_deg - one.lower_deg < 6.0
    assert not found.treatments[0].shown
    assert found.best_four is None


def test_a_typed_angle_takes_the_place_of_the_targets(club: Path) -> None:
    found = ask(open_study(club), angle_deg=20.0, tolerance_deg=1.5).answer
    assert {(one.face, one.angle_deg, one.tolerance_deg) for one in found.targets} == {
        ("grip", 20.0, 1.5),
        ("slick", 20.0, 1.5),
    }


def test_the_old_wish_is_every_faces_target(tmp_path: Path) -> None:
    study = evening(tmp_path / "club", faces=("grip",))
    text = study.catalogue_path.read_text("utf-8")
    text = text[: text.index("[targets.slick]")] + text[text.index('[bags."Quay 1"]') :]
    text = text.replace("# wish_angle_deg =", "wish_angle_deg = 22.5")
    study.catalogue_path.write_text(text, "utf-8")
    found = ask(open_study(study.path)).answer
    assert {one.angle_deg for one in found.targets} == {22.5}
    none = text.replace("wish_angle_deg = 22.5", "")
    study.catalogue_path.write_text(none, "utf-8")
    assert ask(open_study(study.path)).answer.sentences[0].startswith("There is no target yet")


def test_air_at_a_sunlit_board_is_drier_at_its_surface() -> None:
    """Air of 30 °C and 50 % over a board at 50 °C is 17 % there (Magnus formula, by hand)."""
    assert air_at(30.0, 50.0, 50.0).surface_humidity_pct == pytest.approx(17.2, abs=0.3)
    assert air_at(None, 50.0).surface_humidity_pct == 50.0


@pytest.mark.parametrize(
    ("p_within", "begins"),
    [(0.1, "Use "), (0.09, "No bag is likely to be near its target; the nearest is ")],
)
def test_a_pick_that_is_hardly_near_is_not_called_one_to_use(
    found: Answer, p_within: float, begins: str
) -> None:
    best = msgspec.structs.replace(found.picks[0], p_within=p_within)
    first = words.pick_sentence(msgspec.structs.replace(found, picks=[best]))
    assert first.startswith(f"{begins}{best.bag}, {best.face}: ")
