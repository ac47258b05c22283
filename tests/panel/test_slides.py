"""Where dots, bars, lines and ticks lie, and what is said of the slides."""

from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.panel.slides import Dot, axis, dot_of, picture


def dots(*angles: float | None, u_deg: float | None = None, is_valid: bool = True) -> Any:
    """Dots at these angles, all alike."""
    return tuple(Dot(i, angle, u_deg, is_valid, "") for i, angle in enumerate(angles, 1))


def result(**changes: Any) -> Any:
    """What is read of a run's row."""
    row = {"outcome": "slid", "flags": [], "valid": True}
    angles = {"onset_angle_deg": 20.1, "u_onset_angle_deg": 0.2}
    return cast(Any, SimpleNamespace(**{**row, **angles, **changes}))


def test_a_dot_keeps_what_the_analysis_says() -> None:
    assert dot_of(result(), 7) == Dot(7, 20.1, 0.2, True, "")
    flagged = result(flags=["cross_slope", "warm_chip"], valid=False)
    assert dot_of(flagged, 8) == Dot(8, 20.1, 0.2, False, "cross slope, warm chip")
    nothing = result(outcome="no_slide", onset_angle_deg=None, u_onset_angle_deg=None)
    assert dot_of(nothing, 9) == Dot(9, None, None, True, "no slide")


@pytest.mark.parametrize(
    ("low", "high", "values"),
    [
        (20.0, 21.0, [20.0, 20.5, 21.0]),
        (19.9, 21.1, [19.5, 20.0, 20.5, 21.0, 21.5]),
        (0.0, 4.0, [0.0, 1.0, 2.0, 3.0, 4.0]),
        (0.0, 4.1, [0.0, 2.0, 4.0, 6.0]),
        (18.0, 38.0, [15.0, 20.0, 25.0, 30.0, 35.0, 40.0]),
        (0.0, 36.0, [0.0, 10.0, 20.0, 30.0, 40.0]),
        (-0.3, 0.7, [-0.5, 0.0, 0.5, 1.0]),
    ],
)
def test_ticks_are_round_and_hold_the_values(low: float, high: float, values: list[float]) -> None:
    assert axis(low, high) == pytest.approx(values)


@given(st.floats(-50, 90), st.floats(0, 140))
def test_the_axis_holds_its_values_between_round_ones(low: float, span: float) -> None:
    values = axis(low, low + span)
    slack = 1e-6 * max(1.0, abs(low) + span)
    assert values[0] <= low + slack
    assert values[-1] >= low + span - slack
    assert len(values) <= 8 or span < 1e-6


@given(st.lists(st.tuples(st.floats(0, 45), st.floats(0, 2)), min_size=1, max_size=24))
def test_dots_and_bars_lie_within_the_picture(values: list[tuple[float, float]]) -> None:
    found = picture(tuple(Dot(i, a, u, True, "") for i, (a, u) in enumerate(values, 1)))
    for dot in found["dots"]:
        assert 0 < dot["x"] < 1
        assert -0.001 <= dot["y"] - dot["bar"] <= dot["y"] + dot["bar"] <= 1.001
    by_angle = sorted(range(len(values)), key=lambda i: values[i][0])
    heights = [found["dots"][i]["y"] for i in by_angle]
    assert heights == sorted(heights)


def test_places_are_parts_of_the_picture() -> None:
    """With bars of 0.5° at 20° and 22° the axis goes from 19° to 23° in steps of 1°."""
    found = picture(dots(20.0, 22.0, u_deg=0.5))
    assert [(t["y"], t["text"]) for t in found["ticks"]] == [
        (0.0, "19°"), (0.25, "20°"), (0.5, "21°"), (0.75, "22°"), (1.0, "23°"),
    ]  # fmt: skip
    assert [(d["x"], d["y"], d["bar"]) for d in found["dots"]] == [
        (0.25, 0.25, 0.125),
        (0.75, 0.75, 0.125),
    ]
    assert found["mean"] == 0.5
    assert found["shown"]


def test_slides_that_agree_look_as_if_they_did() -> None:
    """An axis of one degree at least, the slides in its middle."""
    found = picture(dots(20.5, 20.5))
    assert [t["text"] for t in found["ticks"]] == ["20.0°", "20.5°", "21.0°"]
    assert [d["y"] for d in found["dots"]] == [0.5, 0.5]
    assert [d["bar"] for d in found["dots"]] == [0.0, 0.0]


@pytest.mark.parametrize(
    ("low", "high", "first", "second"),
    [(20.0, 24.0, "20°", "21°"), (20.0, 23.0, "20°", "21°"), (20.0, 21.0, "20.0°", "20.5°")],
)
def test_ticks_have_the_places_that_they_need(
    low: float, high: float, first: str, second: str
) -> None:
    assert [t["text"] for t in picture(dots(low, high))["ticks"]][:2] == [first, second]


def test_without_dots_nothing_is_drawn() -> None:
    assert picture(()) == {
        "shown": False, "words": "No slides yet.", "mean": None, "dots": [], "ticks": [],
    }  # fmt: skip


def test_runs_without_an_angle_are_shown_without_a_place() -> None:
    found = picture(dots(None, None))
    assert [d["y"] for d in found["dots"]] == [None, None]
    assert [d["text"] for d in found["dots"]] == [
        "Slide 1: no angle (not known)",
        "Slide 2: no angle (not known)",
    ]
    assert found["words"] == "2 runs, none with a slide angle that counts."
    assert [t["text"] for t in found["ticks"]] == ["0.0°", "0.5°", "1.0°"]


def test_only_what_is_valid_counts_in_mean_and_words() -> None:
    left_out = Dot(3, 40.0, 0.25, False, "beam fault")
    found = picture((*dots(20.0), left_out))
    assert found["words"] == "One slide that counts, at 20.00°."
    assert found["mean"] is None, "one slide has no mean"
    assert found["dots"][1]["text"] == "Slide 3: 40.00° ± 0.25°, left out (beam fault)"
    assert [d["valid"] for d in found["dots"]] == [True, False]
    three = picture((*dots(20.0, 21.0, 22.0), left_out))
    # The axis goes from 20° to 40.25° in steps of 10°, to 50°; the mean is 21°.
    assert three["mean"] == pytest.approx(1 / 30, abs=1e-4)
    assert three["words"] == "3 slides that count: mean 21.00°, standard deviation 1.00°."
    assert [d["number"] for d in three["dots"]] == ["1", "2", "3", "3"]
