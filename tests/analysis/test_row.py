"""A run's row: what it says where nothing was found, and how it is filled."""

import math
from typing import Any

import pytest

from rig.analysis.budget.parts import Budget
from rig.analysis.by_hand import hand_result
from rig.analysis.row import empty_row, filled, number, with_break
from rig.runfile.model import INVALIDATING, End, Event, Flag
from tests.analysis.parts import bare_run, component, geometry, ramp, solved


@pytest.mark.parametrize(
    ("value", "expected"),
    [(2, 2.0), (2.5, 2.5), (math.nan, None), (math.inf, None), ("2", None), (None, None)],
)
def test_only_a_finite_number_is_one(value: object, expected: float | None) -> None:
    assert number(value) == expected


def test_an_empty_row_is_not_valid_and_has_each_flag_once() -> None:
    row = empty_row(bare_run(), ["creep", "halted", "creep"])
    assert (row.valid, row.flags) == (False, ["creep", "halted"])
    assert (row.outcome, row.onset_angle_deg, row.dwell_s) == ("interrupted", None, 5.0)
    run = bare_run(Event(t_s=9.0, event="raise_started", detail={"dwell_s": 5.7}))
    run.end = End(outcome="slid", flags=[], samples_lost=0, bus_retries=0, lines=0)
    assert (empty_row(run, []).outcome, empty_row(run, []).dwell_s) == ("slid", 5.7)


BUDGET = Budget(
    onset_angle_deg=18.0,
    components=[component("gap", 0.5, u_mu_kinetic=0.02), component("level", 1.2, "common")],
)


def test_a_row_is_filled_with_the_angle_at_the_onset() -> None:
    # The ramp stands at 20° at 30 s and turns by 2 °/s.
    found = solved(found={"onset_s": 29.0})
    row = with_break(
        filled(empty_row(bare_run(), []), found, ramp(), BUDGET, geometry()), 30.0, ramp()
    )
    assert (row.valid, row.onset_method) == (True, "two_edge")
    assert (row.onset_angle_deg, row.angle_at_break_deg) == pytest.approx((18.0, 20.0))
    assert (row.u_onset_angle_deg, row.u_mu_kinetic) == pytest.approx((0.5, 0.02))
    # tan 18° = 0.324920; 0.5° are 0.00872665 rad, over cos²18° = 0.904508.
    assert row.mu_static == pytest.approx(0.324920, abs=1e-6)
    assert row.u_mu_static == pytest.approx(0.00964796, rel=1e-5)
    # In itself: √(0.5² + 1.2²)° = 1.3°, 2.6 times as much.
    assert row.u_onset_angle_absolute_deg == pytest.approx(1.3)
    assert row.u_mu_static_absolute == pytest.approx(2.6 * 0.00964796, rel=1e-5)
    assert row.mu_kinetic_speed_m_s == 0.25
    assert (row.gap_mm, row.bag_length_mm) == (8.0, None)


def test_a_gap_that_was_measured_is_that_before_the_slump() -> None:
    # The edges say 3 of 4 mm more, and tell three quarters of the length's variance.
    found = solved(found={"to_break_mm": 5.0, "length_off": (0.75, 0.75)}, method="four_edge")
    row = filled(empty_row(bare_run(), []), found, ramp(), BUDGET, geometry())
    assert (row.gap_mm, row.bag_length_mm) == (6.5, 156.0)


def test_unknown_kinetic_friction_has_no_uncertainty() -> None:
    found = solved(method="one_edge")
    row = filled(empty_row(bare_run(), []), found, ramp(), BUDGET, geometry())
    assert (row.mu_kinetic, row.u_mu_kinetic, row.mu_kinetic_speed_m_s) == (None, None, None)


@pytest.mark.parametrize("flag", [*sorted(INVALIDATING), "creep", "cross_slope"])
def test_some_flags_keep_a_run_out(flag: Flag) -> None:
    row = filled(empty_row(bare_run(), [flag]), solved(), ramp(), BUDGET, geometry())
    assert row.valid is (flag not in INVALIDATING)


def reading(**detail: Any) -> Event:
    return Event(t_s=0.0, event="hand_reading", detail=detail)


def by_hand(*events: Event, flags: list[Flag] | None = None) -> Any:
    return hand_result(bare_run(*events, source="hand"), flags or [])


def test_a_reading_by_hand() -> None:
    row, budget = by_hand(reading(angle_deg=10.0), reading(angle_deg=45.0, u_angle_deg=0.25))
    # The last one counts; sec²45° = 2.
    assert (row.valid, row.onset_angle_deg, row.u_onset_angle_deg) == (True, 45.0, 0.25)
    assert (row.mu_static, row.u_mu_static) == pytest.approx((1.0, 0.00872665), rel=1e-6)
    assert row.u_onset_angle_absolute_deg == 0.25
    assert budget.u_onset_angle_deg(("run",)) == 0.25


@pytest.mark.parametrize("u", [None, "0.2", math.inf])
def test_a_reading_without_an_uncertainty_counts_half_a_degree(u: object) -> None:
    row, _ = by_hand(reading(angle_deg=20.0, u_angle_deg=u))
    assert row.u_onset_angle_deg == 0.5


@pytest.mark.parametrize("events", [[], [reading(angle_deg=math.nan)], [reading()]])
def test_no_reading_is_no_slide(events: list[Event]) -> None:
    row, budget = by_hand(*events)
    assert (row.valid, row.flags, budget) == (False, ["no_slide"], None)


def test_a_reading_with_a_flag_that_forbids_it_is_not_valid() -> None:
    row, _ = by_hand(reading(angle_deg=20.0), flags=["halted"])
    assert not row.valid
