"""The bag through the beams: what is too short, what is too long, and which beam is the last."""

import msgspec
import pytest

from rig.control.passage import Passage
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.devices.inputs import Edge
from rig.settings.model import Pins
from tests.control.conftest import MakeBench
from tests.control.machine_bench import SETTINGS, Bench

REQUEST = RunRequest(
    rate_deg_s=1.0, dwell_s=0.0, gap_mm=8.0, u_gap_mm=1.0, bag_length_mm=152.0, u_bag_length_mm=4.0
)
LONGEST_S = 1.491
"""By hand, see `tests/test_sliding.py`."""


class Slide:
    """A raise that edges of the beams come into."""

    def __init__(self, bench: Bench, request: RunRequest = REQUEST) -> None:
        self.bench = bench
        self.recorder: Recorder = bench.recorder("raising")
        self.passage = Passage(bench.machine, self.recorder, request)
        self._begin_s = bench.clock.time_s()

    def state(self) -> str:
        return self.recorder.state

    def at(self, seconds: float, beam: int | None = None, broken: bool = False) -> None:
        """Let it become this late, and an edge come if one is named."""
        time_s = self._begin_s + seconds
        self.bench.clock.advance_to(time_s)
        self.passage.look(None if beam is None else Edge(time_s, f"beam_{beam}", broken))


@pytest.mark.parametrize(
    ("passed_s", "is_bag"), [(0.049, False), (0.051, True), (1.48, True), (1.50, False)]
)
def test_a_bag_takes_no_less_and_no_more(bench: Bench, passed_s: float, is_bag: bool) -> None:
    slide = Slide(bench)
    slide.at(1.0, 1, broken=True)
    assert slide.state() == "sliding"
    slide.at(1.0 + passed_s, 1, broken=False)
    assert (slide.passage.cleared_s is not None) == is_bag
    is_crept = passed_s > 1.0 and not is_bag
    assert slide.recorder.flags == (["edge_crept"] if is_crept else [])
    assert slide.state() == ("raising" if is_crept else "sliding")


@pytest.mark.parametrize(
    ("rate_deg_s", "limit_s"),
    [(1.0, 3.0), (0.0625, 2.5198 * LONGEST_S)],
    ids=["by the settings", "by the slowest pass"],
)
def test_a_beam_that_stays_broken_is_slumped_fill_and_the_raise_goes_on(
    bench: Bench, rate_deg_s: float, limit_s: float
) -> None:
    # The time-out of the settings, or the slowest pass where that is longer: 16^⅓ = 2.5198.
    slide = Slide(bench, msgspec.structs.replace(REQUEST, rate_deg_s=rate_deg_s))
    slide.at(1.0, 1, broken=True)
    slide.at(1.0 + limit_s - 0.01)
    assert slide.state() == "sliding"
    slide.at(1.0 + limit_s + 0.01)
    assert slide.state() == "raising"
    assert slide.recorder.flags == ["edge_crept"]
    # What breaks the beam next is the slide itself.
    slide.at(9.0, 1, broken=False)
    slide.at(9.5, 1, broken=True)
    assert slide.state() == "sliding"
    assert slide.passage.broken_s == pytest.approx(bench.clock.time_s())


def test_a_bag_that_has_passed_is_not_stuck(bench: Bench) -> None:
    slide = Slide(bench)
    slide.at(1.0, 1, broken=True)
    slide.at(1.5, 1, broken=False)
    slide.at(9.0)
    assert slide.state() == "sliding"
    assert slide.recorder.flags == []


def test_with_two_beams_the_lower_one_counts(make_bench: MakeBench) -> None:
    bench = make_bench(msgspec.structs.replace(SETTINGS, pins=Pins(beam_2=4)))
    slide = Slide(bench)
    slide.at(1.0, 1, broken=True)
    slide.at(1.3, 2, broken=True)
    slide.at(1.5, 1, broken=False)
    assert slide.passage.cleared_s is None
    slide.at(1.9, 2, broken=False)
    assert slide.passage.cleared_s == pytest.approx(bench.clock.time_s())
