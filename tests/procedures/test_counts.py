"""What a series counts: slides, bad runs, and what is left of it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from rig.control.machine import Machine
from rig.control.mover import StoppedError
from rig.errors import BadInputError, MachineFaultError
from rig.procedures.series.climate_gate import ClimateBand
from rig.procedures.series.log import SeriesLog, SeriesOptions, unfinished_in
from rig.procedures.series.series import rules_of
from rig.procedures.series.stop_rules import RunFigures
from tests.procedures.scripted import Act, Scripted

Making = Callable[..., Scripted]


@pytest.fixture
def acting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Making:
    return lambda *acts: Scripted(tmp_path, monkeypatch, *acts)


def stop(machine: Machine) -> None:
    """No run may begin after this one."""
    machine.last_run_reason = MachineFaultError("low_supply", "It is low.")


def numbers(series: Scripted) -> list[tuple[int | None, int | None, int | None]]:
    return [(r.repeat, r.slide_number, r.slides_before) for r in series.script.requests]


def test_a_slide_counts_whether_it_was_measured_or_only_brought_the_bag_down(
    acting: Making,
) -> None:
    series = acting(Act(brought_down=2), Act(outcome="no_slide", brought_down=1), Act(), Act())
    made = series.make(4)
    assert [slide for _, slide, _ in numbers(series)] == [1, 4, 5, 6]
    assert made.slides == 6
    assert sorted(made.counted) == [1, 2, 3, 4]


def test_slides_before_are_those_of_the_bag_face_in_earlier_series(acting: Making) -> None:
    series = acting(Act(brought_down=1, pushes=3), Act(pushes=1), Act(), Act())
    series.make(2)
    series.make(1)
    assert numbers(series)[2] == (1, 1, 3)
    with SeriesLog(series.folder) as log:
        assert (log.wear("X", "grip").slides, log.wear("X", "grip").pushes) == (4, 4)
        assert log.wear("X", "slick").slides == log.wear("Y", "grip").slides == 0
    # Nobody knows what a bag without a name has been through.
    series.make(1, bag=None)
    assert numbers(series)[3] == (1, 1, None)


def test_a_resumed_series_counts_on(acting: Making) -> None:
    series = acting(Act(), Act(outcome="stopped", brought_down=1), Act(then=stop), Act())
    series.make(4)
    assert isinstance(series.error, MachineFaultError)
    assert [r.repeat for r in series.script.requests] == [1, 2, 3]
    # What was stopped is made again, and its slide is not forgotten.
    made = series.make(4)
    assert numbers(series)[3:] == [(2, 4, 0), (4, 5, 0)]
    assert sorted(made.counted) == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("outcome", "is_counted"),
    [
        ("slid", True),
        ("no_slide", True),
        ("stopped", False),
        ("fault", False),
        ("interrupted", False),
    ],
)
def test_a_run_counts_when_it_came_to_its_end(
    acting: Making, outcome: str, is_counted: bool
) -> None:
    series = acting(Act(outcome=outcome))  # type: ignore[arg-type]
    assert sorted(series.make(1).counted) == ([1] if is_counted else [])


def test_earlier_runs_of_a_resumed_series_still_count_for_its_rules(acting: Making) -> None:
    bad = Act(valid=False)
    series = acting(bad, Act(valid=False, then=stop), bad, bad)
    options = SeriesOptions(bad_in_a_row=3)
    series.make(5, options)
    series.make(5)
    assert len(series.script.requests) == 3
    assert "The last 3 runs" in (series.reason or "")


def test_a_rule_ends_the_series_for_good(acting: Making) -> None:
    series = acting(Act(valid=False))
    series.make(3, SeriesOptions(bad_in_a_row=1))
    assert len(series.script.requests) == 1
    with pytest.raises(BadInputError, match="no unfinished series"):
        unfinished_in(series.folder)


def test_the_newest_series_is_the_one_that_can_be_resumed(acting: Making) -> None:
    series = acting(Act(then=stop))
    series.make(3)
    assert [r.repeat for r in unfinished_in(series.folder).remaining] == [2, 3]
    series.make(3)
    with SeriesLog(series.folder) as log:
        assert log.unfinished() is None


def test_no_run_begins_in_the_wrong_air(acting: Making) -> None:
    series = acting()
    band = ClimateBand(temperature_c=60.0, timeout_s=10.0)
    series.make(1, SeriesOptions(climate=band))
    assert isinstance(series.error, StoppedError)
    assert series.script.requests == []
    assert len(unfinished_in(series.folder).remaining) == 1


@pytest.mark.parametrize(
    ("options", "limit"),
    [
        (SeriesOptions(), None),
        (SeriesOptions(unattended=True), 3),
        (SeriesOptions(unattended=True, bad_in_a_row=5), 5),
        (SeriesOptions(bad_in_a_row=2), 2),
    ],
)
def test_bad_runs_in_a_row_end_a_series_that_nobody_watches(
    options: SeriesOptions, limit: int | None
) -> None:
    bad = RunFigures(False, "slid", None, None, None)

    def is_ended(n: int) -> bool:
        return any(rule([bad] * n) for rule in rules_of(options))

    assert is_ended(50) is (limit is not None)
    if limit is not None:
        assert not is_ended(limit - 1)
        assert is_ended(limit)


def test_each_option_has_its_rule() -> None:
    steady = [RunFigures(True, "slid", i, 20.0 + 0.1 * (i % 2), 0.36) for i in range(1, 11)]
    falling = [run._replace(mu_static=0.4 - 0.01 * i) for i, run in enumerate(steady)]

    def said(options: SeriesOptions, runs: list[RunFigures]) -> str:
        return " ".join(why for rule in rules_of(options) if (why := rule(runs)))

    assert said(SeriesOptions(), falling) == ""
    assert "±0.5° was asked for" in said(SeriesOptions(until_angle_deg=0.5), steady)
    assert "drifts with the slides" in said(SeriesOptions(stop_at_trend=True), falling)


def test_the_board_is_to_be_wiped_after_so_many_slides_not_runs(acting: Making) -> None:
    """Slides before each run: 0, 1, 1, 2, 2, 3, 5."""
    no_slide = Act(outcome="no_slide")
    series = acting(Act(), no_slide, Act(), no_slide, Act(), Act(brought_down=1), Act())
    series.make(7, SeriesOptions(clean_every=2))
    assert [notice.split(" ")[0] for notice in series.notices] == ["2", "5"]


@pytest.mark.parametrize(
    ("n_before", "before", "after"), [(2, [], ["2", "4"]), (3, ["2"], ["4"]), (1, [], ["2", "4"])]
)
def test_a_resumed_series_asks_for_wiping_when_it_is_due(
    acting: Making, n_before: int, before: list[str], after: list[str]
) -> None:
    series = acting(*[Act()] * (n_before - 1), Act(then=stop))
    series.make(5, SeriesOptions(clean_every=2))
    assert [notice.split(" ")[0] for notice in series.notices] == before
    series.notices.clear()
    series.make(5)
    assert [notice.split(" ")[0] for notice in series.notices] == after
