"""Each line of a difference by arithmetic: two groups of two runs, at µs 0.4 and 0.5."""

import math
from typing import Any

import pytest
from scipy.special import stdtrit

from rig.analysis.budget.difference import (
    Difference,
    DifferencePart,
    difference,
    group_budget,
    group_name,
)
from rig.analysis.budget.parts import Component
from rig.analysis.groups import Group, make_groups
from rig.calibration.model import Calibration
from tests.analysis.parts import analysis, component, gravity, ramp
from tests.calibration.example import calibration, diagonal

LOW, HIGH = 0.4, 0.5
PER_DEG = math.radians(1.16), math.radians(1.25)
"""µs for each degree: 1 + µs² for each radian."""
SECANT = math.sqrt(1.16), math.sqrt(1.25)
BIASES = calibration(covariance=diagonal(3e-4, 3e-4, 3e-4, 0.0, 0.0, 0.0, 0.02, 0.0))
BY_RATE = component("filter delay", 0.003, "common", u_value=3.0, unit="ms", sensitivity=1e-3)


def group(
    mu: float, *parts: Component, used: Calibration | None = None, at_c: float = 22.0, **top: Any
) -> Group:
    """Two runs of one series, 0.002 apart."""
    runs = []
    for one in (mu - 0.001, mu + 0.001):
        angle = math.degrees(math.atan(one))
        seen = ramp(gravity=gravity(angle), imu_temperature_c=at_c)
        analysed = {} if used is None else {"calibration": used, "ramp": seen}
        runs.append(analysis(one, *parts, analysed=analysed, **({"session": "s"} | top)))
    (made,) = make_groups(runs)
    return made


def lines(found: Difference) -> dict[str, DifferencePart]:
    return {part.name: part for part in found.components}


def both(
    *parts: Component, of_b: tuple[Component, ...] | None = None, rig: str = "bench", **same: Any
) -> dict[str, DifferencePart]:
    """Lines of the difference of a group at 0.4 and one at 0.5, which may be of another rig."""
    a, b = group(LOW, *parts, **same), group(HIGH, *(of_b or parts), rig=rig, **same)
    return lines(difference(a, b))


LAW = component("friction law, rate-free", 0.24, "common")


def test_the_friction_law_moves_both_means_on_any_rig() -> None:
    for rig in ("bench", "another"):
        part = both(LAW, rig=rig)[LAW.name]
        # 0.24·(0.0218166 − 0.0202458).
        assert part.u_mu_static == pytest.approx(3.76991e-4, rel=1e-3)
        assert (part.sensitivity_a, part.sensitivity_b) == pytest.approx(PER_DEG, rel=1e-4)
        assert part.cancels


def test_another_rate_leaves_more_of_the_law_and_the_larger_input_counts() -> None:
    slow = component("friction law, rate-free", 0.125, "common", u_value=0.25, sensitivity=0.5)
    part = both(LAW, of_b=(slow,))[LAW.name]
    # 0.25·|0.0202458 − 0.5·0.0218166|.
    assert part.u_mu_static == pytest.approx(0.00233438, rel=1e-3)


def test_what_belongs_to_one_rig_is_shared_on_it_only() -> None:
    response = component("beam response", 0.3, "common")
    part = both(response)["beam response"]
    assert part.cancels
    assert part.u_mu_static == pytest.approx(0.3 * (PER_DEG[1] - PER_DEG[0]), rel=1e-3)
    elsewhere = both(response, rig="another")
    assert "beam response" not in elsewhere
    for place, name in enumerate(("beam response of A", "beam response of B")):
        assert elsewhere[name].u_mu_static == pytest.approx(0.3 * PER_DEG[place], rel=1e-3)
        assert not elsewhere[name].cancels
        rates = elsewhere[name].sensitivity_a, elsewhere[name].sensitivity_b
        assert rates[place] == pytest.approx(PER_DEG[place], rel=1e-3)
        assert rates[1 - place] == 0.0


def test_a_series_has_its_own_slump() -> None:
    found = both(component("slump", 0.2, "series"), component("gap", 9.0, "run"))
    assert found["slump of A"].u_mu_static == pytest.approx(0.2 * PER_DEG[0], rel=1e-3)
    assert found["slump of B"].u_mu_static == pytest.approx(0.2 * PER_DEG[1], rel=1e-3)
    # What differs from run to run is in the scatter: 0.0014142/√2.
    assert not any(name.startswith("gap") for name in found)
    assert found["repeatability of A"].u_mu_static == pytest.approx(0.001, rel=1e-6)
    assert found["repeatability of B"].dof == 1.0


OF_SENSOR = [
    component("calibration", 0.02, "common"),
    component("level", 0.02, "common"),
    component("temperature", 0.05, "series"),
    BY_RATE,
]


def test_one_calibration_moves_both_means_by_its_own_rates() -> None:
    found = both(*OF_SENSOR, used=BIASES)
    assert all(found[part.name].cancels for part in OF_SENSOR)
    # A bias moves tan θ by −sec θ along x and by tan θ·sec θ along z.
    x, z = SECANT[0] - SECANT[1], LOW * SECANT[0] - HIGH * SECANT[1]
    assert found["calibration"].u_mu_static == pytest.approx(3e-4 * math.hypot(x, z), rel=2e-3)
    assert found["level"].u_mu_static == pytest.approx(0.02 * math.radians(0.09), rel=2e-3)
    assert found["filter delay"].u_mu_static == pytest.approx(3e-3 * math.radians(0.09), rel=2e-3)
    # Both at the calibration's temperature.
    assert found["temperature"].u_mu_static == 0.0


def test_temperatures_either_side_of_the_calibration_add_up() -> None:
    for at_c, sign in ((12.0, 1.0), (32.0, -1.0)):
        a = group(LOW, *OF_SENSOR, used=BIASES, at_c=32.0)
        b = group(HIGH, *OF_SENSOR, used=BIASES, at_c=at_c)
        x = SECANT[0] + sign * SECANT[1]
        z = LOW * SECANT[0] + sign * HIGH * SECANT[1]
        part = lines(difference(a, b))["temperature"]
        # Drifts of 1e-4 g/K on each axis over 10 K.
        assert part.u_mu_static == pytest.approx(1e-3 * math.hypot(x, z), rel=2e-3)


@pytest.mark.parametrize(
    "of_b",
    [
        {"used": calibration(made_at="2026-11-01T00:00:00Z")},
        {"used": None},
        {"used": BIASES, "rig": "another"},
    ],
)
def test_other_calibrations_are_each_groups_own(of_b: dict[str, Any]) -> None:
    a = group(LOW, *OF_SENSOR, used=BIASES)
    found = lines(difference(a, group(HIGH, *OF_SENSOR, **of_b)))
    for part in OF_SENSOR:
        assert part.name not in found
        own = found[f"{part.name} of B"]
        assert own.u_mu_static == pytest.approx(part.u_theta_deg * PER_DEG[1], rel=1e-3)


def test_the_sum_its_degrees_of_freedom_and_its_interval() -> None:
    found = difference(group(HIGH, LAW), group(LOW, LAW))
    assert found.difference_mu_static == pytest.approx(0.1)
    # Two scatters of 0.001 with one degree of freedom each, and 3.76991e-4 of the law.
    assert found.u_mu_static == pytest.approx(math.sqrt(2e-6 + 3.76991e-4**2), rel=1e-4)
    # (2e-6 + 1.42122e-7)²/(2·1e-12) = 2.29: cut to 2.
    assert found.dof == pytest.approx(2.2944, rel=1e-3)
    assert found.k == pytest.approx(float(stdtrit(2, 0.975)))
    assert found.expanded_mu_static == pytest.approx(found.k * found.u_mu_static)
    assert lines(found)["repeatability of A"].share == pytest.approx(0.46683, rel=1e-3)


def test_a_groups_budget_takes_the_mean_of_what_its_runs_share() -> None:
    runs = [
        analysis(LOW, component("level", u, "common", u_mu_kinetic=u / 10.0), component("gap", 0.2))
        for u in (0.2, 0.4)
    ]
    runs.append(analysis(LOW, component("slump", 0.3, "series")))
    (made,) = make_groups(runs)
    parts = {part.name: part for part in group_budget(made).components}
    assert set(parts) == {"repeatability", "level", "slump"}
    # One of three runs does not have it.
    assert parts["level"].u_theta_deg == pytest.approx(0.2)
    assert parts["level"].u_mu_kinetic == pytest.approx(0.02)
    assert parts["level"].sensitivity == pytest.approx(2.0 / 3.0)
    assert parts["level"].u_value == pytest.approx(0.3)
    assert parts["slump"].u_theta_deg == pytest.approx(0.1)


def test_a_groups_scatter_counts_in_degrees() -> None:
    runs = [
        analysis(mu, LAW, series=series, session="s")
        for series, mu in (("1", 0.38), ("1", 0.40), ("2", 0.40), ("2", 0.42))
    ]
    (made,) = make_groups(runs)
    parts = {part.name: part for part in group_budget(made).components}
    for name in ("repeatability", "series to series"):
        # 0.00707107 of µs at 0.4, by 1.16 for each radian: 0.34926°.
        assert parts[name].u_theta_deg == pytest.approx(0.34926, rel=1e-3)
        assert parts[name].u_value == pytest.approx(0.00707107, rel=1e-5)
        # Two series are one degree of freedom, however many runs they have.
        assert parts[name].dof == 1.0


def test_a_groups_name_tells_it_from_others() -> None:
    top: dict[str, Any] = {
        "bag": "A",
        "face": "slick",
        "board": "birch",
        "treatment_stage": "washed",
    }
    row = {"temperature_c": 20.4, "relative_humidity_pct": 50.6}
    (named,) = make_groups([analysis(LOW, row=row, **top)])
    assert group_name(named) == "A slick on birch washed 1 °/s 20 °C 51 %"
    (bare,) = make_groups([analysis(LOW)])
    assert group_name(bare) == "1 °/s"
