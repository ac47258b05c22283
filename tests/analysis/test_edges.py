"""Which edges of the beams count, at each limit, and which case they make."""

from typing import Any

import pytest

from rig.analysis.checks import check_beams
from rig.analysis.onset.edges import BeamRecord, Pass, beam_record
from rig.analysis.onset.estimate import Case, choose
from rig.runfile.model import Event, Flag
from tests.analysis.parts import bare_run, events, geometry

STRAIGHT = geometry(slump_mm=0.0)
"""The bag meets the beam after 8 mm and clears it after 160 mm; beams 50 mm apart."""


def record(*edges: tuple[float, str], **changes: Any) -> BeamRecord:
    """What a beam saw between 0 and 10 s; the board is down again at 14 s."""
    span: dict[str, Any] = {
        "beam": 1,
        "from_s": 0.0,
        "to_s": 10.0,
        "response_s": 0.0,
        "lowered_s": 14.0,
    }
    return beam_record(events(1, *edges), **(span | changes))


def test_edges_are_taken_back_by_the_receivers_delay() -> None:
    assert record((2.0, "broken"), (3.0, "clear"), response_s=0.02).passes == [Pass(1.98, 2.98)]


@pytest.mark.parametrize(("free_s", "passes"), [(0.029, 1), (0.031, 2)])
def test_a_beam_that_is_free_for_a_moment_is_still_broken(free_s: float, passes: int) -> None:
    found = record((2.0, "broken"), (3.0, "clear"), (3.0 + free_s, "broken"), (4.0, "clear"))
    assert len(found.passes) == passes
    assert (found.passes[0].broken_s, found.passes[-1].clear_s) == (2.0, 4.0)
    assert (found.edges, found.disturbances) == (4, 0)


@pytest.mark.parametrize(("lasts_s", "passes"), [(0.049, 0), (0.051, 1)])
def test_a_break_that_is_too_short_for_a_bag(lasts_s: float, passes: int) -> None:
    found = record((2.0, "broken"), (2.0 + lasts_s, "clear"))
    assert (len(found.passes), found.disturbances) == (passes, 1 - passes)


def test_a_beam_that_stays_broken_is_a_pass_without_an_end() -> None:
    assert record((2.0, "broken")).passes == [Pass(2.0, None)]


def test_edges_that_say_the_same_twice_change_nothing() -> None:
    every = [(1.0, "clear"), (2.0, "broken"), (2.5, "broken"), (3.0, "clear"), (3.5, "clear")]
    assert record(*every).passes == [Pass(2.0, 3.0)]


def test_only_the_edges_of_this_beam_and_of_the_raise_count() -> None:
    every = [
        *events(2, (1.0, "broken"), (2.0, "clear")),
        *events(1, (-1.0, "broken"), (0.0, "clear"), (9.0, "broken"), (10.0, "clear")),
        *events(1, (10.1, "broken"), (13.9, "clear"), (14.1, "broken")),
        Event(t_s=5.0, event="beam_broken", detail={}),
        Event(t_s=5.5, event="beam_clear", detail={}),
    ]
    found = beam_record(every, 1, 0.0, 10.0, 0.0, 14.0)
    # An edge that names no beam is of the first.
    assert found.passes == [Pass(5.0, 5.5), Pass(9.0, 10.0)]
    assert (found.edges, found.after, found.broken_at_start) == (5, 2, True)


@pytest.mark.parametrize(
    ("before", "broken"), [([(-2.0, "broken")], True), ([(-2.0, "broken"), (-1.0, "clear")], False)]
)
def test_the_last_edge_before_the_raise_says_how_the_beam_stood(
    before: list[tuple[float, str]], broken: bool
) -> None:
    assert record(*before, (2.0, "broken")).broken_at_start is broken


@pytest.mark.parametrize(
    ("edges", "inverted"),
    [
        ([(2.0, "clear"), (3.0, "broken")], True),
        ([(2.0, "broken"), (3.0, "clear")], False),
        ([(-1.0, "broken"), (2.0, "clear"), (3.0, "broken")], False),
        ([(-2.0, "broken"), (-1.0, "clear"), (2.0, "clear")], True),
    ],
)
def test_a_beam_that_was_broken_before_is_not_inverted(
    edges: list[tuple[float, str]], inverted: bool
) -> None:
    assert record(*edges).inverted is inverted


def beam_flags(*records: BeamRecord, before: tuple[Event, ...] = ()) -> list[Flag]:
    """For a raise that starts at 0 s after a dwell that started at −5 s."""
    dwelling = Event(t_s=-5.0, event="state", detail={"state": "dwelling"})
    flags: list[Flag] = []
    check_beams(bare_run(dwelling, *before), list(records), 0.0, flags)
    return flags


@pytest.mark.parametrize(
    ("changes", "flags"),
    [
        ({"edges": 12}, []),
        ({"edges": 13}, ["beam_fault"]),
        ({"after": 1}, ["beam_fault"]),
        ({"disturbances": 1}, ["early_disturbance"]),
        ({"broken_at_start": True}, ["beam_fault"]),
    ],
)
def test_flags_of_a_beam(changes: dict[str, Any], flags: list[Flag]) -> None:
    quiet = BeamRecord([], 0, 0, broken_at_start=False, after=0)
    assert beam_flags(quiet, quiet._replace(**changes)) == flags


@pytest.mark.parametrize(
    ("broken_s", "at_start", "flags"),
    [
        (-0.1, False, ["early_disturbance"]),
        (-4.9, False, ["early_disturbance"]),
        (-5.1, False, []),
        (0.1, False, []),
        (-0.1, True, ["moved_before_raise"]),
        (-5.1, True, ["beam_fault"]),
    ],
)
def test_a_bag_that_moves_while_it_should_rest(
    broken_s: float, at_start: bool, flags: list[Flag]
) -> None:
    found = BeamRecord([], 0, 1, broken_at_start=at_start, after=0)
    assert beam_flags(found, before=tuple(events(1, (broken_s, "broken")))) == flags


def chosen(
    first: list[Pass], second: list[Pass] | None = None, end_s: float = 40.0, angle: float = 24.0
) -> Case | None:
    """The case that passes make at 24° and 1 °/s."""
    lists = [first] if second is None else [first, second]
    records = [BeamRecord(one, 0, 0, broken_at_start=False, after=0) for one in lists]
    return choose(records, STRAIGHT, lambda _: angle, 1.0, end_s)


def made(case: Case | None) -> tuple[str, tuple[Flag, ...]] | None:
    return None if case is None else (case.kind, case.flags)


UNSURE = ("clear_only", ("edge_crept", "gap_unknown"))


@pytest.mark.parametrize(
    ("lasts_s", "case"),
    [
        # Without friction from 8 to 160 mm: 0.2832 − 0.0633 = 0.2199 s at 24°, 0.1668 s at 45°.
        (0.160, None),
        (0.170, UNSURE),
        # 0.8 of the quickest: 0.1759 s.
        (0.172, UNSURE),
        (0.180, ("two", ())),
        # What the machine allows (1.491 s, `tests/test_sliding.py`), and 0.2 s.
        (1.680, ("two", ())),
        (1.700, UNSURE),
    ],
)
def test_how_long_a_pass_may_take(
    lasts_s: float, case: tuple[str, tuple[Flag, ...]] | None
) -> None:
    assert made(chosen([Pass(24.0, 24.0 + lasts_s)])) == case


def test_a_break_before_the_board_has_tilted_is_no_mistake_of_arithmetic() -> None:
    assert made(chosen([Pass(24.0, 25.0)], angle=-5.0)) == ("two", ())


@pytest.mark.parametrize(
    ("first", "second", "case"),
    [
        # Both beams; and the second still broken at the end.
        ([Pass(24.0, 24.6)], [Pass(24.3, 24.7)], ("four", ())),
        ([Pass(24.0, 24.6)], [Pass(24.3, None)], ("two", ())),
        # The second must break while the first is broken, and clear after it.
        ([Pass(24.0, 24.6)], [Pass(24.7, 24.8)], None),
        ([Pass(24.0, 24.6)], [Pass(24.3, 24.5)], None),
        ([Pass(24.0, 24.6)], [Pass(23.9, 24.7)], None),
        # Something before it: as quick as no bag is, or slumped fill.
        ([Pass(20.0, 20.1), Pass(24.0, 24.6)], None, ("two", ("early_disturbance",))),
        ([Pass(20.0, 23.0), Pass(24.0, 24.6)], None, ("two", ("edge_crept",))),
        (
            [Pass(20.0, 20.1), Pass(21.0, 23.0), Pass(24.0, 24.6)],
            None,
            ("two", ("early_disturbance", "edge_crept")),
        ),
        # Never clear: the leading edge at both beams, or the break alone.
        ([Pass(24.0, None)], [Pass(24.3, None)], ("leading", ("stalled_in_slide",))),
        ([Pass(24.0, None)], [], ("break_only", ())),
        # Slumped fill broke the first beam long before: the second beam has the whole pass.
        ([Pass(20.0, 24.6)], [Pass(24.3, 24.7)], ("second", ("edge_crept",))),
        ([Pass(20.0, 24.6)], [Pass(24.3, 24.5)], UNSURE),
        ([], [], None),
    ],
)
def test_what_the_passes_are_worth(
    first: list[Pass], second: list[Pass] | None, case: tuple[str, tuple[Flag, ...]] | None
) -> None:
    # The record ends so soon that a bag could still lie in the first beam.
    assert made(chosen(first, second, end_s=25.0)) == case


@pytest.mark.parametrize(("end_s", "case"), [(25.68, ("break_only", ())), (25.70, None)])
def test_a_bag_that_stays_in_the_beam_for_too_long_does_not_slide(
    end_s: float, case: tuple[str, tuple[Flag, ...]] | None
) -> None:
    # At most 1.691 s, as above.
    assert made(chosen([Pass(24.0, None)], end_s=end_s)) == case


def test_first_and_last_edge_of_each_case() -> None:
    first, second = Pass(24.0, 24.6), Pass(24.3, 24.7)
    ends = {
        kind: (case.first_edge_s, case.last_edge_s)
        for kind in ("two", "four", "second", "leading", "clear_only")
        for case in [Case(kind, first, second, ())]
    }
    assert ends == {
        "two": (24.0, 24.6),
        "four": (24.0, 24.7),
        "second": (24.3, 24.7),
        "leading": (24.0, 24.3),
        "clear_only": (24.6, 24.6),
    }
