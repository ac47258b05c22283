import json
import math
from functools import cache
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.analysis.budget.difference import difference, group_budget, group_name
from rig.analysis.columns import format_table
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import Group, make_groups
from rig.analysis.load import Analysis
from rig.analysis.table import budget_rows, difference_rows
from rig.calibration.apply import gravity_g, inclination_deg
from rig.calibration.model import Calibration
from rig.commands.analyse import _print_budgets
from tests.analysis.slides import one_beam, run_file, slide
from tests.calibration.example import calibration

FITTED = calibration(
    filter_delay_ms=22.0,
    temperature_c=20.0,
    u_drift_g_per_k=1e-4,
    covariance=tuple(
        tuple(row) for row in np.diag([4e-4, 4e-4, 5e-4, 1e-3, 1e-3, 1e-3, 0.03, 0.03]) ** 2
    ),
)


@cache
def edges_s(mu_static: float, mu_kinetic: float) -> tuple[float, ...]:
    return tuple(slide(mu_static, mu_kinetic, 1.0, [8.0, 160.0]).edges_s)


def runs(
    bag: str, mus: list[float], used: Calibration = FITTED, **header: Any
) -> list[RunAnalysis]:
    found = []
    for series in (1, 2, 3):
        for number, mu in enumerate(mus, start=1):
            run = run_file(
                1.0,
                one_beam(edges_s(mu + 0.004 * series, mu - 0.05)),
                calibration=used,
                bag=bag,
                session="s",
                series=str(series),
                slide_number=number,
                **header,
            )
            found.append(analyse_run(run))
    return found


def group(*args: Any, **header: Any) -> Group:
    (made,) = make_groups(runs(*args, **header))
    return made


@pytest.fixture(scope="module")
def low() -> Group:
    return group("A", [0.40, 0.41])


@pytest.fixture(scope="module")
def high() -> Group:
    return group("B", [0.50, 0.52])


def test_a_groups_budget_adds_up_to_the_groups_uncertainty(low: Group) -> None:
    budget, result = group_budget(low), low.result
    u = math.sqrt(result.u_repeat**2 + (result.u_series or 0.0) ** 2 + result.u_common**2)
    assert budget.u_mu_static() == pytest.approx(u, rel=0.01)
    assert result.expanded_mu_static == pytest.approx(result.k * budget.u_mu_static(), rel=0.01)
    assert sum(budget.share(part) for part in budget.components) == pytest.approx(1.0)
    names = [part.name for part in budget.components]
    # What differs from run to run is in the scatter and must not count twice.
    assert not {"ramp fit", "gap", "length and skew"} & set(names)
    assert names[:2] == ["repeatability", "series to series"]
    dofs = {part.name: part.dof for part in budget.components}
    assert (dofs["repeatability"], dofs["series to series"]) == (2.0, 2.0)
    assert sum(low.weights) == pytest.approx(1.0)


def test_common_parts_cancel_between_like_groups(low: Group) -> None:
    other = group("B", [0.40, 0.41])
    found = difference(low, other)
    parts = {part.name: part for part in found.components}
    for name in (
        "friction law, rate-free",
        "crown of the board",
        "calibration",
        "level",
        "filter delay",
        "temperature",
    ):
        assert parts[name].cancels
        assert parts[name].u_mu_static < 1e-9
    # Each has its own scatter and slump, and its own friction law.
    own = {part.name: part for part in group_budget(low).components}["friction law"]
    per_deg = math.radians(1.0) * (1.0 + low.result.mean_mu_static**2)
    assert parts["friction law of A"].u_mu_static == pytest.approx(
        own.u_theta_deg * per_deg, rel=1e-4
    )
    assert not parts["friction law of B"].cancels
    assert parts["repeatability of A"].u_mu_static == pytest.approx(low.result.u_repeat, rel=1e-6)
    assert found.u_mu_static < 0.7 * math.hypot(low.result.u_common, other.result.u_common)
    assert found.difference_mu_static == pytest.approx(0.0, abs=1e-9)
    # Two scatters of the same size with two degrees of freedom each are worth four, and the law's
    # rest counts as known.
    assert found.dof > 4.0


def test_at_other_angles_they_cancel_but_in_part(low: Group, high: Group) -> None:
    found = difference(low, high)
    parts = {part.name: part for part in found.components}
    # A shift of the angle counts with sec²θ, 1.16 and 1.26 here.
    own = {part.name: part.u_theta_deg for part in group_budget(low).components}
    law = own["friction law, rate-free"]
    secants = [1.0 + g.result.mean_mu_static**2 for g in (low, high)]
    left = math.radians(law) * abs(secants[1] - secants[0])
    assert parts["friction law, rate-free"].u_mu_static == pytest.approx(left, rel=0.02)
    assert found.difference_mu_static == pytest.approx(-0.105, abs=0.003)
    assert sum(part.share for part in found.components) == pytest.approx(1.0)


def test_the_calibrations_part_is_that_of_drawn_calibrations(low: Group, high: Group) -> None:
    parts = {part.name: part for part in difference(low, high).components}
    stated = math.hypot(parts["calibration"].u_mu_static, parts["level"].u_mu_static)
    rng = np.random.default_rng(1)
    angles = [math.atan(g.result.mean_mu_static) for g in (low, high)]
    counts = FITTED.counts_per_g * np.array([[math.sin(a), 0.0, math.cos(a)] for a in angles])
    differences = []
    for errors in rng.normal(0.0, 1.0, (4000, 8)) * np.sqrt(np.diag(FITTED.covariance)):
        tip = np.radians(errors[6])
        drawn = msgspec.structs.replace(
            FITTED,
            bias_g=tuple(errors[:3].tolist()),
            gain=tuple((1.0 + errors[3:6]).tolist()),
            level=(math.sin(tip), 0.0, math.cos(tip)),
        )
        a, b = np.tan(np.radians(inclination_deg(drawn, gravity_g(drawn, counts))))
        differences.append(a - b)
    assert stated == pytest.approx(np.std(differences), rel=0.06)


def test_what_two_rigs_or_two_calibrations_have_is_their_own(low: Group) -> None:
    again = msgspec.structs.replace(FITTED, made_at="2026-05-01T00:00:00Z")
    recalibrated = difference(low, group("B", [0.40, 0.41], again))
    parts = {part.name: part for part in recalibrated.components}
    assert parts["level of A"].u_mu_static == pytest.approx(parts["level of B"].u_mu_static)
    assert parts["beam response"].cancels
    elsewhere = difference(low, group("B", [0.40, 0.41], rig="another"))
    names = {part.name for part in elsewhere.components}
    assert {"beam response of A", "level of B", "filter delay of A", "friction law of B"} <= names
    assert "friction law, rate-free" in names
    assert "crown of the board" not in names
    other_board = {
        part.name for part in difference(low, group("B", [0.40, 0.41], board="b")).components
    }
    assert "crown of the board of A" in other_board


def test_budgets_are_printed_and_carried(
    low: Group,
    high: Group,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    analysis = Analysis([*low.analyses, *high.analyses], [low, high], [])
    document = analysis.document(with_budget=True)
    json.dumps(document, allow_nan=False)
    keys = {"name", "u_value", "distribution", "sensitivity", "dof", "share", "layer"}
    for where in (*document["runs"], *document["groups"]):
        assert all(keys <= set(line) for line in where["budget"])
    (pair,) = document["differences"]
    assert {"sensitivity_a", "sensitivity_b", "cancels", "share"} <= set(pair["components"][0])
    assert "differences" not in analysis.document()
    monkeypatch.setenv("COLUMNS", "200")
    _print_budgets(analysis)
    printed = capsys.readouterr().out
    assert printed.count("combined") == 12 + 2 + 1
    assert "µ static, A less B: -0.1" in printed
    assert "cancels" in format_table(difference_rows(difference(low, high)))
    assert "series to series" in format_table(budget_rows(group_budget(low)))
    assert group_name(low).startswith("A")


def test_groups_without_a_ramp_have_budgets_too() -> None:
    bare = group("A", [0.40, 0.41])
    analyses = [run._replace(calibration=None, ramp=None) for run in bare.analyses]
    found = difference(bare._replace(analyses=analyses), bare)
    assert "calibration of A" in {part.name for part in found.components}
