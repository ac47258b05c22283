"""What the receivers say, and how a raise is judged by it."""

from itertools import pairwise
from math import radians
from typing import Any

import numpy as np
import pytest

from rig.settings.model import CycleSettings
from rig.twin.friction import make_law
from rig.twin.mechanics import Incline
from rig.twin.path import BagPath
from rig.twin.receivers import Receivers
from rig.twin.scenario import BeamTruth
from rig.twin.slide import BagEdge, SlideMotion
from tests.fastsim.passage import Passage, judge, watch, watch_lowering

CYCLE = CycleSettings(clear_timeout_s=3.0, after_clear_s=0.15)
BAG = [BagEdge(20.0, 1, True), BagEdge(20.5, 1, False)]


def judged(edges: list[BagEdge], end_s: float = 45.0, n_beams: int = 1) -> Passage:
    return judge(edges, end_s, CYCLE, n_beams, longest_s=2.0)


def told(passage: Passage) -> list[tuple[float, Any]]:
    return [(e.t_s, e.detail.get("state") or e.event) for e in passage.events]


def test_a_bag_breaks_and_clears() -> None:
    passage = judged(BAG)
    assert (passage.broken_s, passage.cleared_s) == (20.0, 20.5)
    assert (passage.flags, passage.edges) == ([], BAG)
    assert told(passage) == [(20.0, "beam_broken"), (20.0, "sliding"), (20.5, "beam_clear")]


def test_of_two_beams_the_second_counts_for_the_clearing() -> None:
    edges = [
        BagEdge(20.0, 1, True),
        BagEdge(20.2, 2, True),
        BagEdge(20.5, 1, False),
        BagEdge(20.6, 2, False),
    ]
    passage = judged(edges, n_beams=2)
    assert (passage.broken_s, passage.cleared_s) == (20.0, 20.6)
    assert judged(edges[:3], n_beams=2).cleared_s is None


@pytest.mark.parametrize(("after_s", "n"), [(0.14, 3), (0.16, 2)])
def test_edges_are_noted_until_a_little_after_the_clearing(after_s: float, n: int) -> None:
    assert len(judged([*BAG, BagEdge(20.5 + after_s, 1, True)]).edges) == n


def test_nothing_counts_after_the_end_of_the_raise() -> None:
    passage = judged(BAG, end_s=20.3)
    assert (passage.edges, passage.cleared_s) == (BAG[:1], None)
    assert passage.flags == ["stalled_in_slide"]
    assert judged([], end_s=20.0).flags == ["no_slide"]


def test_a_flicker_is_shorter_than_any_bag() -> None:
    passage = judged([BagEdge(18.0, 1, True), BagEdge(18.01, 1, False), *BAG])
    assert (passage.broken_s, passage.cleared_s) == (18.0, 20.5)


def test_what_stays_too_long_was_no_bag() -> None:
    # 2 s are the longest pass, and after 3 s nobody waits any more.
    slow = judged([BagEdge(10.0, 1, True), BagEdge(12.5, 1, False), *BAG])
    assert slow.flags == ["edge_crept"]
    assert (slow.broken_s, slow.cleared_s) == (20.0, 20.5)
    assert (12.5, "raising") in told(slow)
    stays = judged([BagEdge(10.0, 1, True), BagEdge(14.0, 1, False), *BAG])
    assert stays.flags == ["edge_crept"]
    assert (13.0, "raising") in told(stays)
    assert (14.0, "raising") not in told(stays)
    forever = judged([BagEdge(10.0, 1, True)])
    assert forever.flags == ["edge_crept", "stalled_in_slide"]
    assert (13.0, "raising") in told(forever)
    assert (13.0, "raising") not in told(judged([BagEdge(10.0, 1, True)], end_s=12.9))


def test_the_crown_breaks_the_first_beam_only_between_its_angles() -> None:
    crown = Receivers(BeamTruth(warp_break_deg=9.0, warp_clear_deg=13.0), 2, 1, 1)
    assert crown.borders_deg == [9.0, 13.0]
    assert crown.look(8.99) == []
    assert crown.look(9.0) == [(1, True)]
    assert crown.is_broken(1)
    assert not crown.is_broken(2)
    assert not crown.stands_in(1)
    # The bag comes and goes behind it.
    assert crown.bag(1, True, 10.0) == []
    assert crown.stands_in(1)
    assert crown.bag(1, False, 11.0) == []
    assert crown.look(13.0) == [(1, False)]


def test_a_blind_receiver_never_sees_the_bag_and_a_blinded_one_not_above_8_degrees() -> None:
    blind = Receivers(BeamTruth(is_blind=True), 1, 1, 1)
    assert blind.bag(1, True, -3.0) == []
    assert blind.bag(1, True, 45.0) == []
    sun = Receivers(BeamTruth(sun="stuck_clear"), 1, 1, 1)
    assert sun.bag(1, True, 7.99) == [(1, True)]
    assert sun.look(8.0) == [(1, False)]
    assert sun.look(7.99) == [(1, True)]


def test_sun_holds_both_receivers_or_flickers_on_the_first() -> None:
    stuck = Receivers(BeamTruth(sun="stuck_broken"), 2, 1, 1)
    assert stuck.look(7.9) == []
    assert stuck.look(8.1) == [(1, True), (2, True)]
    flicker = Receivers(BeamTruth(sun="flicker"), 2, 1, 1)
    borders = flicker.borders_deg
    assert len(borders) == 12
    assert 8.0 <= borders[0]
    assert borders[-1] <= 38.22
    assert borders[-1] - borders[0] > 10.0
    assert flicker.look(borders[0] + 1e-6) == [(1, True)]
    flicker.look(8.0)
    shut = sum(flicker.look(8.0 + 0.005 * i) != [] for i in range(6_200))
    assert 2 <= shut <= 12
    assert borders != Receivers(BeamTruth(sun="flicker"), 2, 1, 2).borders_deg


def test_six_flickers_shut_the_beam_for_a_fiftieth_to_a_fifth_of_a_degree_each() -> None:
    """0.12° on average; that two of them overlap is rare. 300 rigs know a sum to 0.01°."""
    shut_deg = []
    for seed in range(300):
        flicker = Receivers(BeamTruth(sun="flicker"), 1, seed, 1)
        shut_deg.append(0.0)
        for low, high in pairwise(flicker.borders_deg):
            flicker.look((low + high) / 2)
            shut_deg[-1] += (high - low) * flicker.is_broken(1)
    assert np.mean(shut_deg) == pytest.approx(6 * 0.12, abs=0.04)
    assert max(shut_deg) < 6 * 0.22


def test_edges_of_crown_and_bag_come_in_order_and_late_by_the_response() -> None:
    slide = SlideMotion(
        make_law("coulomb", 0.4, 0.36),
        Incline.of(0.0, 0.0),
        BagPath(gap_mm=8.0, length_mm=155.0),
        0.0,
    )
    crown = Receivers(BeamTruth(warp_break_deg=9.0, warp_clear_deg=13.0), 1, 1, 1)
    edges = watch(slide, crown, lambda t: radians(t), 24.0, 0.25)
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (1, False)] * 2
    assert [e.time_s for e in edges[:2]] == pytest.approx([9.25, 13.25])
    # atan 0.4 is 21.80°, and 8 mm take about a third of a second.
    assert 22.2 < edges[2].time_s < 22.7
    down = watch_lowering(crown, lambda t: radians(24.0 - 2.0 * t), 0.0, 10.0, 0.25)
    assert [(e.beam, e.broken) for e in down] == [(1, True), (1, False)]
    assert [e.time_s for e in down] == pytest.approx([5.75, 7.75])
