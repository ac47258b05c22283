"""The distances of a run: which of several counts, and with what uncertainty."""

import math
from typing import Any

import pytest

from rig.analysis.onset.estimate import Geometry
from rig.analysis.onset.geometry import run_geometry
from rig.runfile.model import Event, Flag
from tests.analysis.parts import bare_run, geometry


def distances(placed: dict[str, Any] | None = None, **changes: Any) -> tuple[Geometry, list[Flag]]:
    events = [] if placed is None else [Event(t_s=1.0, event="placed", detail=placed)]
    flags: list[Flag] = []
    return run_geometry(bare_run(*events, **({"placing": "blade"} | changes)), flags), flags


@pytest.mark.parametrize(
    ("placed", "planned", "gap", "flags"),
    [
        ({"gap_mm": 6.0, "u_gap_mm": 0.4}, {"gap_mm": 8.0, "u_gap_mm": 2.0}, (6.0, 0.4), []),
        (None, {"gap_mm": 8.0, "u_gap_mm": 2.0}, (8.0, 2.0), []),
        # Placed without a gap: the plan's, and its uncertainty unless the event says one.
        ({}, {"gap_mm": 8.0, "u_gap_mm": 2.0}, (8.0, 2.0), []),
        ({"u_gap_mm": 0.4}, {"gap_mm": 8.0, "u_gap_mm": 2.0}, (8.0, 0.4), []),
        # A gap without an uncertainty: 1 mm.
        ({"gap_mm": 6.0}, {"gap_mm": 8.0, "u_gap_mm": 2.0}, (6.0, 1.0), []),
        (None, {"gap_mm": 8.0}, (8.0, 1.0), []),
        # Not a number, and nothing planned: 8 mm within 4, and flagged.
        ({"gap_mm": "6"}, {}, (8.0, 4.0), ["gap_unknown"]),
        ({"gap_mm": math.inf}, {}, (8.0, 4.0), ["gap_unknown"]),
        (None, {}, (8.0, 4.0), ["gap_unknown"]),
    ],
)
def test_what_was_placed_counts_before_what_was_planned(
    placed: dict[str, Any] | None,
    planned: dict[str, float],
    gap: tuple[float, float],
    flags: list[Flag],
) -> None:
    found, raised = distances(placed, **planned)
    assert (found.gap_mm, found.u_gap_mm) == gap
    assert raised == flags


def test_the_last_placing_counts() -> None:
    twice = [
        Event(t_s=t, event="placed", detail={"gap_mm": gap, "u_gap_mm": 0.4})
        for t, gap in ((1.0, 5.0), (2.0, 7.0))
    ]
    assert run_geometry(bare_run(*twice), []).gap_mm == 7.0


@pytest.mark.parametrize(
    ("changes", "length"),
    [
        ({}, (152.0, 10.0)),
        ({"bag_length_mm": 140.0}, (140.0, 4.0)),
        ({"bag_length_mm": 140.0, "u_bag_length_mm": 2.0}, (140.0, 2.0)),
        # By hand, a bag lies askew and is longer: by √3/2 of u.
        ({"bag_length_mm": 140.0, "u_bag_length_mm": 2.0, "placing": "hand"}, (141.732, 2.0)),
        ({"placing": "hand"}, (160.660, 10.0)),
    ],
)
def test_length_of_the_bag(changes: dict[str, Any], length: tuple[float, float]) -> None:
    found, _ = distances(**changes)
    assert (found.length_mm, found.u_length_mm) == pytest.approx(length, abs=5e-4)


def test_beams_and_slump_are_the_settings() -> None:
    found, _ = distances()
    assert (found.slump_mm, found.u_slump_mm) == (0.0, 0.0)
    assert (found.spacing_mm, found.u_spacing_mm) == (50.0, 0.2)


@pytest.mark.parametrize(
    ("gap", "slump", "to_break"), [(8.0, 1.5, 6.5), (2.0, 1.8, 0.3), (2.0, 1.6, 0.4)]
)
def test_slump_leaves_a_gap_of_its_own(gap: float, slump: float, to_break: float) -> None:
    found = geometry(gap_mm=gap, slump_mm=slump)
    assert found.to_break_mm == pytest.approx(to_break)
    assert found.to_clear_mm == gap + 152.0


@pytest.mark.parametrize(("gap", "may"), [(16.4, True), (16.6, False)])
def test_slump_may_reach_a_beam_within_three_u(gap: float, may: bool) -> None:
    # Slump of 1.5 mm; u of gap and slump together: √(3² + 4²) = 5 mm.
    assert geometry(gap_mm=gap).may_slump_through is may
    assert geometry().u_to_break_mm == 5.0


def test_slumped_fill_hangs_about_the_beam() -> None:
    assert geometry().distances() == ((8.0, 3.0), (1.5, 4.0), (152.0, 4.0), (50.0, 0.2))
    # From 1.5 mm as stated to 2 mm beyond the gap of 8 mm; u of the slump and of this: √32 mm.
    slump = geometry().distances(slumped=True).slump
    assert slump == pytest.approx((5.75, 5.656854))
    # Where the slump is larger than the gap it reaches 2 mm beyond the beam.
    assert geometry(gap_mm=1.0).distances(slumped=True).slump[0] == pytest.approx(2.5)
