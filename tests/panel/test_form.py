"""What people type into the form of a series, and what the rig makes of it."""

from typing import Literal

import pytest

from rig.panel.form import (
    Empty,
    PairForm,
    SeriesForm,
    Usual,
    Wanted,
    decode,
    hints,
    requests_of,
    usual_of,
    wanted,
)
from rig.panel.seats import RefusedError
from rig.settings.model import Settings
from tests.panel.paper import NOW


def refusal(**fields: str) -> str:
    """Why a form with these fields is refused; empty if it is taken."""
    try:
        wanted(SeriesForm(**{"runs": "1", **fields}))  # type: ignore[arg-type]
    except RefusedError as refused:
        return f"{refused}" if refused.status == 400 else f"status {refused.status}"
    return ""


@pytest.mark.parametrize(
    ("field", "units", "taken", "refused", "why"),
    [
        ("runs", "metric", ("1", "1000"), ("0", "-1", "1001"), "between 1 and 1000, not"),
        ("rate", "metric", ("0.1", "3"), ("0.099", "-0.1", "3.001"), "between 0.1 and 3 °/s, not"),
        ("dwell", "metric", ("0", "3600"), ("-0.1", "3600.1"), "between 0 and 3600 s, not"),
        ("gap", "metric", ("1", "50"), ("0.99", "-1", "50.01"), "between 1 and 50 mm, not"),
        # 1 mm = 0.03937 in, 50 mm = 1.9685 in
        ("gap", "us", ("0.03938", "1.968"), ("0.03936", "1.969"), "between 1 and 50 mm, not"),
    ],
)
def test_numbers_are_taken_within_their_range(
    field: str, units: str, taken: tuple[str, ...], refused: tuple[str, ...], why: str
) -> None:
    assert [refusal(units=units, **{field: text}) for text in taken] == [""] * len(taken)
    for text in refused:
        assert why in refusal(units=units, **{field: text})


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "three", "1 2", "1_", "0x1", "5" * 21])
def test_what_is_no_number_is_refused(text: str) -> None:
    for field in ("runs", "rate", "dwell", "gap"):
        assert " takes a number" in refusal(**{field: text})


def test_a_number_may_have_twenty_letters() -> None:
    assert refusal(runs="1." + "0" * 18) == ""
    assert refusal(runs="1." + "0" * 19)


def test_each_field_has_its_own_name_in_a_refusal() -> None:
    for text in ("", "2.5"):
        assert refusal(runs=text) == "The number of runs is a whole number from 1 to 1000."
    for field, name in (
        ("rate", "The raise rate"), ("dwell", "The rest"), ("gap", "The gap"),
        ("bag", "The bag 'xx"), ("face", "The face 'xx"), ("board", "The board 'xx"),
    ):  # fmt: skip
        assert refusal(**{field: "x" * 61}).startswith(name)


def test_a_rate_that_the_pulses_cannot_make_is_refused() -> None:
    with pytest.raises(RefusedError, match=r"The raise rate is 2.8 °/s.* at most 2.54 °/s"):
        requests_of(SeriesForm(runs="1", rate="2.8"), Settings(), "twin", NOW)


def test_a_form_becomes_values_in_the_rigs_units() -> None:
    form = SeriesForm(
        runs=" 3 ", bag="  Heron \t 1 ", face="slick", board="shed", rate="0,5", dwell="7.5",
        gap="0.5", units="us",
    )  # fmt: skip
    assert wanted(form) == Wanted(3, 0.5, 7.5, 12.7, "Heron 1", "slick", "shed")
    assert wanted(SeriesForm(runs="1", gap="12.7")).gap_mm == 12.7


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_unit_that_was_typed_counts_whatever_the_page_shows(
    units: Literal["metric", "us"],
) -> None:
    def gap_mm(text: str) -> float | None:
        return wanted(SeriesForm(runs="1", gap=text, units=units)).gap_mm

    assert [gap_mm(text) for text in ("0.3in", '0.3"', "7.62mm", "0,3 in")] == [7.62] * 4
    assert wanted(SeriesForm(runs="1", dwell="2 min", units=units)).dwell_s == 120.0
    assert "two ways" in refusal(dwell="1,200")


def test_an_empty_field_leaves_the_value_to_the_rig() -> None:
    assert wanted(SeriesForm(runs="1", rate=" ", bag=" \t")) == Wanted(1, *[None] * 6)


@pytest.mark.parametrize("field", ["bag", "face", "board"])
def test_names_have_sixty_letters_and_no_character_that_cannot_be_shown(field: str) -> None:
    for name in ("x" * 60, "Héron №1", "<b>&amp;\"'", "袋"):
        assert refusal(**{field: name}) == ""
    assert "60 are the most" in refusal(**{field: "x" * 61})
    # control, format, private use, not assigned; a lone surrogate is no JSON text
    for letter in ("\x00", "\x1b", "\u202e", "\u200b", "\ue000", "\u0378", "\ud800"):
        assert "type it again without it" in refusal(**{field: f"a{letter}b"})


def test_requests_carry_what_was_typed_and_the_settings_for_the_rest() -> None:
    form = SeriesForm(runs="3", bag="Heron 1", face="slick", board="shed", dwell="7")
    made = requests_of(form, Settings(), "twin", NOW)
    assert [request.repeat for request in made] == [1, 2, 3]
    last = made[-1]
    assert (last.bag, last.face, last.board, last.source) == ("Heron 1", "slick", "shed", "twin")
    assert (last.rate_deg_s, last.dwell_s) == (Settings().motion.rate_deg_s, 7.0)


def test_a_body_of_nothing_is_an_empty_one() -> None:
    decode(b"", Empty)
    with pytest.raises(RefusedError, match="missing required field `runs`") as refused:
        decode(b"", SeriesForm)
    assert refused.value.status == 400


@pytest.mark.parametrize(
    "body", [b"{", b"[]", b'{"runs": 3}', b'{"runs": "3", "wish": 1}', b'"\xff"', b"[" * 4000]
)
def test_a_body_that_is_no_such_form_is_refused(body: bytes) -> None:
    for kind in (SeriesForm, PairForm, Empty):
        with pytest.raises(RefusedError, match="cannot be read") as refused:
            decode(body, kind)
        assert refused.value.status == 400


def test_a_body_has_4096_bytes_at_most() -> None:
    decode(b"{}".ljust(4096), Empty)
    with pytest.raises(RefusedError, match="4096 bytes are taken") as refused:
        decode(b"{}".ljust(4097), Empty)
    assert refused.value.status == 413


def test_hints_say_what_an_empty_field_stands_for() -> None:
    usual = Usual(rig_name="shed", rate_deg_s=1.0, dwell_s=10.0, gap_mm=8.0)
    assert hints(usual, "metric") == {
        "rig_name": "shed", "rate": "1", "dwell": "10", "gap": "8",
        "gap_label": "Gap to the beam in mm",
    }  # fmt: skip
    inches = hints(usual, "us")
    assert (inches["gap"], inches["gap_label"]) == ("0.31", "Gap to the beam in inches")


def test_a_twin_is_called_one_whatever_the_settings_say() -> None:
    settings = Settings(name="the rig in the shed")
    assert usual_of(settings, "twin").rig_name == "simulated: the twin"
    usual = usual_of(settings, "rig")
    assert usual.rig_name == "the rig in the shed"
    assert usual.rate_deg_s == settings.motion.rate_deg_s
    assert usual.dwell_s == settings.cycle.dwell_s
    assert usual.gap_mm == settings.bag.gap_mm
