"""Series with quick start: the settling raise, where the slow part begins, and early slides."""

from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace

from rig.control.machine import Machine
from rig.errors import MachineFaultError
from rig.procedures.series.log import SeriesOptions
from rig.settings.checks import max_rate_deg_s
from tests.faults.harness import SETTINGS
from tests.procedures.scripted import Act, Scripted

Making = Callable[..., Scripted]
QUICK = SeriesOptions(quick=True)
EARLY = Act(valid=False, angle_deg=None, flags=("slid_early",))


@pytest.fixture
def acting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Making:
    return lambda *acts: Scripted(tmp_path, monkeypatch, *acts)


def settling(angle_deg: float | None, **more: object) -> Act:
    return Act(valid=False, angle_deg=angle_deg, **more)  # type: ignore[arg-type]


def stop(machine: Machine) -> None:
    """No run may begin after this one."""
    machine.last_run_reason = MachineFaultError("low_supply", "It is low.")


def starts(series: Scripted) -> list[float | None]:
    return [request.approach_deg for request in series.script.requests]


def test_a_series_begins_with_one_settling_raise_that_fixes_its_start(acting: Making) -> None:
    """Later slides, however they scatter, move nothing: the method is one for the series."""
    series = acting(settling(20.0), Act(angle_deg=24.0), Act(angle_deg=17.5), Act())
    made = series.make(3, QUICK)
    assert starts(series) == [None, 17.0, 17.0, 17.0]
    asked = series.script.requests
    assert [r.repeat for r in asked] == [0, 1, 2, 3]
    assert [r.settling for r in asked] == [True, False, False, False]
    assert [r.rate_deg_s for r in asked] == [1.5, *[asked[1].rate_deg_s] * 3]
    assert [r.slide_number for r in asked] == [1, 2, 3, 4]
    assert made.slides == 4
    assert sorted(made.counted) == [0, 1, 2, 3]
    assert series.notices == []


def test_fine_microsteps_make_the_settling_raise_slower(
    acting: Making, monkeypatch: pytest.MonkeyPatch
) -> None:
    fine = replace(
        SETTINGS,
        screw=replace(SETTINGS.screw, microsteps=16),
        motion=replace(SETTINGS.motion, rate_deg_s=0.2),
    )
    monkeypatch.setattr("tests.procedures.scripted.SETTINGS", fine)
    series = acting(settling(20.0))
    series.make(1, QUICK)
    rates = [request.rate_deg_s for request in series.script.requests]
    assert rates == [max_rate_deg_s(fine), 0.2]
    assert rates[0] < 0.32


def test_a_bridging_series_is_whole_and_quick_in_turns(acting: Making) -> None:
    series = acting(settling(20.0))
    series.make(2, QUICK, purpose="bridge")
    asked = series.script.requests[1:]
    assert {(r.raise_start, r.approach_deg, r.rate_deg_s) for r in asked} == {
        ("whole", None, 1.0),
        ("quick", 17.0, 0.3),
    }
    assert len(asked) == 4
    assert series.script.requests[0].settling


def test_a_whole_series_has_no_settling_raise(acting: Making) -> None:
    series = acting()
    series.make(2)
    assert [(r.repeat, r.settling) for r in series.script.requests] == [(1, False), (2, False)]
    assert starts(series) == [None, None]


def test_an_early_slide_moves_the_start_5_degrees_lower_and_a_second_one_ends_it(
    acting: Making,
) -> None:
    series = acting(settling(20.0), EARLY, Act(), EARLY, Act(), Act())
    series.make(5, QUICK)
    assert starts(series) == [None, 17.0, 12.0, 12.0, None, None]
    assert "continues with a quick start to 12.0°" in series.notices[0]
    assert "continues with whole raises" in series.notices[1]


@pytest.mark.parametrize(
    ("act", "start_deg"),
    [
        (settling(5.0), 2.0),
        # To less than 2° there is nothing to save.
        (settling(4.99), None),
        (settling(None), None),
        (settling(20.0, flags=("step_loss",)), None),
        (settling(20.0, flags=("early_disturbance",)), 17.0),
    ],
)
def test_only_a_sound_angle_well_above_level_gives_a_start(
    acting: Making, act: Act, start_deg: float | None
) -> None:
    series = acting(act)
    series.make(1, QUICK)
    assert starts(series) == [None, start_deg]
    assert (start_deg is None) == any("gave no angle" in notice for notice in series.notices)


def test_a_resumed_series_keeps_its_start_and_its_early_slides(acting: Making) -> None:
    series = acting(settling(20.0), EARLY, Act(then=stop), EARLY, Act())
    series.make(4, QUICK)
    assert isinstance(series.error, MachineFaultError)
    series.notices.clear()
    series.make(4)
    assert starts(series) == [None, 17.0, 12.0, 12.0, None]
    assert [r.settling for r in series.script.requests] == [True, *[False] * 4]
    # What happened before the interruption is not told again.
    assert len(series.notices) == 1


def test_a_settling_raise_that_was_cut_off_is_made_again(acting: Making) -> None:
    series = acting(settling(20.0, outcome="stopped", then=stop), settling(21.0), Act())
    series.make(1, QUICK)
    series.make(1)
    assert starts(series) == [None, None, 18.0]
    assert [r.settling for r in series.script.requests] == [True, True, False]


def test_the_settling_raise_is_no_bad_run(acting: Making) -> None:
    bad = Act(valid=False)
    series = acting(settling(20.0), bad, bad, bad)
    series.make(3, SeriesOptions(quick=True, bad_in_a_row=2))
    assert len(series.script.requests) == 3
