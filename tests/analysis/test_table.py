"""The tables of a terminal, cell by cell: digits, signs for what is missing, names."""

from typing import Any

import msgspec
import pytest

from rig.analysis.columns import format_table
from rig.analysis.groups import GroupResult
from rig.analysis.row import RunResult
from rig.analysis.table import group_rows, run_rows
from tests.analysis.parts import analysis

GROUP = GroupResult(
    bag="X",
    face="grip",
    set=None,
    board="A",
    treatment_stage="after 1",
    rate_deg_s=1.0,
    temperature_c=21.46,
    relative_humidity_pct=48.7,
    n_runs=5,
    n_series=2,
    n_sessions=1,
    mean_mu_static=0.412345,
    mean_onset_angle_deg=22.40567,
    first=0.423456,
    third=0.41,
    rest=0.40987654,
    trend_p=0.01234,
    u_repeat=0.001,
    u_series=0.002,
    u_common=0.003,
    k=2.0,
    expanded_mu_static=0.0056789,
    scope="this mounting, this hour",
)
ROW = "X grip|A|after 1|1.00|21.5|49|5|2|1|22.41|0.4123 ± 0.0057|0.4235|0.4100|0.4099|0.012"


def test_each_figure_of_a_group_has_its_digits() -> None:
    titles, row = group_rows([GROUP])
    assert "|".join(row) == f"{ROW}|this mounting, this hour"
    assert len(titles) == len(row)


def test_what_is_missing_is_a_dash() -> None:
    missing = dict.fromkeys(
        "bag face board treatment_stage temperature_c relative_humidity_pct first third rest"
        " trend_p".split()
    )
    _, row = group_rows([msgspec.structs.replace(GROUP, **missing)])
    assert "|".join(row[:6]) == "–|–|–|1.00|–|–"
    assert row[11:15] == ("–",) * 4
    _, row = group_rows([msgspec.structs.replace(GROUP, face=None)])
    assert row[0] == "X"


def run(**changes: Any) -> RunResult:
    return msgspec.structs.replace(analysis(0.4).result, **changes)


def test_each_figure_of_a_run_has_its_digits() -> None:
    figures = {
        "run_id": "r1",
        "bag": "X",
        "face": None,
        "board": None,
        "slide_number": 7,
        "onset_angle_deg": 21.80141,
        "u_onset_angle_deg": 0.06543,
        "angle_at_break_deg": 23.0056,
        "mu_static": 0.400044,
        "u_mu_static": 0.00123,
        "mu_kinetic": 0.36006,
        "u_mu_kinetic": None,
        "temperature_c": 21.46,
        "relative_humidity_pct": 48.7,
        "flags": ["gap_uncertain"],
        "valid": True,
    }
    titles, row = run_rows([run(**figures)])
    cells = "r1|X|–|7|21.80 ± 0.07|–|23.01|0.4000 ± 0.0012|0.3601 ± –|21.5|49|gap_uncertain"
    assert "|".join(row) == cells
    assert len(titles) == len(row)
    _, row = run_rows([run(**figures | {"valid": False, "slide_number": None})])
    assert (row[3], row[-1]) == ("–", "gap_uncertain (not valid)")


def test_a_row_of_another_length_is_no_row_of_the_table() -> None:
    assert format_table([("a", "bc"), ("def", "g")]) == "a    bc\n───  ──\ndef  g"
    with pytest.raises(ValueError, match="longer"):
        format_table([("a", "b"), ("c", "d", "e")])
