"""The pace of a raise by hand, on the page and on the terminal."""

import io

import pytest
from rich.console import Console

from rig.commands.run.live_view import drawn, needle
from rig.control.pace import Pace
from rig.opening import open_twin
from rig.panel.render import pace_section, sections
from rig.panel.view import Viewer
from rig.settings.model import MotionSettings, Settings
from rig.twin.draws import draw_scenario

HAND = Settings(motion=MotionSettings(raised_by="hand"))


@pytest.mark.parametrize(
    ("rate", "at", "mark"),
    [(0.0, -1.0, 0), (0.5, -0.5, 7), (1.0, 0.0, 15), (1.5, 0.5, 23), (4.0, 1.0, 30)],
)
def test_the_needle_stands_where_the_pace_is(rate: float, at: float, mark: int) -> None:
    section = pace_section(Pace(rate, 1.0, 0.36, "steady"))
    assert section["needle"] == at
    assert needle(section).index("▲") == mark
    assert len(needle(section)) == 31


def test_the_brackets_are_where_a_slide_is_refused() -> None:
    scale = needle(pace_section(Pace(0.0, 1.0, 0.36, "faster")))
    assert (scale.index("["), scale.index("]")) == (10, 20)  # 0.36 of 15 either way


def test_without_a_raise_there_is_no_needle() -> None:
    assert not pace_section(None)["shown"]


def test_a_rig_without_a_motor_says_so() -> None:
    rig = open_twin(HAND, draw_scenario(3), 3)
    with rig:
        snap = Viewer(rig.machine).look()
        assert snap.by_hand
        parts = sections(snap._replace(state="raising"), "metric")
        assert parts["state"]["text"] == "Raise the board evenly until the bag slides."
        assert not parts["angle"]["by_motor"]
        shown = snap._replace(state="raising", pace=Pace(1.24, 1.0, 0.36, "slower"))
        out = io.StringIO()
        Console(file=out, width=80).print(drawn(shown))
    text = out.getvalue()
    assert "1.2 °/s  slower" in text
    assert "by steps" not in text
    assert "across" in text
