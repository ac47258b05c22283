"""Each component of a run's budget against arithmetic done by hand."""

import math

import numpy as np
import pytest
from uncertainties import ufloat
from uncertainties.umath import cos, tan

from rig.analysis.angle.ramp import Ramp
from rig.analysis.budget.parts import COMPARING, Budget, Component
from rig.analysis.budget.run import run_budget
from rig.analysis.onset.estimate import Solved
from rig.analysis.onset.posterior import Source
from rig.analysis.table import budget_rows
from rig.calibration.model import Calibration
from tests.analysis.parts import bare_run, component, geometry, gravity, ramp, solved
from tests.calibration.example import calibration, diagonal


def budget(
    of: Ramp | None = None, found: Solved | None = None, used: Calibration | None = None
) -> dict[str, Component]:
    """Components by name for an onset of 20° at 2 °/s, unless the arguments say otherwise."""
    made = run_budget(
        bare_run(), used or calibration(), of or ramp(), found or solved(), geometry()
    )
    return {part.name: part for part in made.components}


def test_ramp_fit_is_the_covariance_at_the_onset() -> None:
    covariance = np.array([[4e-4, 1e-4], [1e-4, 1e-4]])
    part = budget(ramp(covariance=covariance, dof=11.0), solved(found={"onset_s": 28.0}))[
        "ramp fit"
    ]
    # Two seconds before the pivot: 4e-4 − 2·2·1e-4 + 4·1e-4 = 4e-4.
    assert part.u_theta_deg == pytest.approx(0.02)
    assert (part.dof, part.layer) == (11.0, "run")


def test_sample_times_are_half_a_period_either_way() -> None:
    part = budget()["sample times"]
    # 208 samples/s: half of 4.807692 ms, divided by √3, at 2 °/s.
    assert part.u_value == pytest.approx(1.387861, rel=1e-6)
    assert part.u_theta_deg == pytest.approx(0.002775723, rel=1e-6)
    assert (part.unit, part.distribution, part.layer) == ("ms", "rectangular", "run")


def test_filter_delay_counts_with_the_rate() -> None:
    part = budget()["filter delay"]
    assert (part.u_value, part.unit, part.layer) == (3.0, "ms", "common")
    assert part.u_theta_deg == pytest.approx(0.006)


@pytest.mark.parametrize(
    ("name", "u_value", "unit", "layer"),
    [
        ("gap", 3.0, "mm", "run"),
        ("slump", 4.0, "mm", "series"),
        ("length and skew", 4.0, "mm", "run"),
        ("beam spacing", 0.2, "mm", "common"),
        ("shape of the edges", 0.2, "mm", "run"),
        ("beam response", 0.3, "ms", "common"),
        ("kinetic friction", 1.0, "of the prior", "series"),
    ],
)
def test_each_source_counts_with_the_rate_in_its_layer(
    name: str, u_value: float, unit: str, layer: str
) -> None:
    part = budget(found=solved(Source(name, 0.03, 0.004)))[name]
    # 0.03 s at 2 °/s.
    assert part.u_theta_deg == pytest.approx(0.06)
    assert part.sensitivity == pytest.approx(0.06 / u_value)
    assert (part.u_value, part.unit, part.layer) == (u_value, unit, layer)
    assert part.u_mu_kinetic == 0.004


def test_what_an_edge_does_not_need_has_no_line() -> None:
    assert "gap" not in budget(found=solved(Source("gap", 0.0, 0.0)))


def test_the_friction_law_is_what_the_edges_leave_open_and_a_floor() -> None:
    found = solved(found={"law_s": 0.05, "law_mu_kinetic": 0.002})
    part = budget(found=found)["friction law"]
    # 0.1° of the posterior; the floor of 0.05° at 1 °/s is 0.05·2^(2/3) = 0.079370° at 2 °/s.
    assert part.u_theta_deg == pytest.approx(math.hypot(0.1, 0.0793701), rel=1e-6)
    assert (part.u_mu_kinetic, part.layer) == (0.002, "series")
    slow = budget(ramp(slope_deg_s=0.3))["friction law"]
    assert slow.u_theta_deg == pytest.approx(0.022407, rel=1e-4)


def test_the_step_to_no_rate_is_common_and_not_for_comparing() -> None:
    part = budget()["friction law, rate-free"]
    # 0.42° at 1 °/s, as the cube root of the rate.
    assert part.u_theta_deg == pytest.approx(0.529167, rel=1e-5)
    assert part.layer == "common"
    assert "common" not in COMPARING


def test_the_crown_of_the_board_has_a_line() -> None:
    part = budget()["crown of the board"]
    # 2 mm at 170 mm off the middle are 0.1°, as a rectangle over √3.
    assert part.u_theta_deg == pytest.approx(0.057735, rel=1e-4)
    assert (part.layer, part.distribution) == ("common", "rectangular")


def test_an_unsteady_ramp_counts_a_tenth_of_a_degree() -> None:
    part = budget(ramp(steady=False))["unsteady ramp"]
    assert (part.u_theta_deg, part.layer) == (0.1, "series")
    assert "unsteady ramp" not in budget()


def test_calibration_and_level_at_24_degrees() -> None:
    used = calibration(covariance=diagonal(3e-4, 3e-4, 3e-4, 5e-4, 5e-4, 5e-4, 0.02, 0.5))
    parts = budget(ramp(gravity=gravity(24.0)), used=used)
    # θ = atan(x/z): the biases give 3e-4 rad at any angle, the gains 5e-4·√2·sin θ cos θ:
    # √(9.0e-8 + 6.90e-8) = 3.9878e-4 rad. A level tilted across counts nothing, along as it is.
    assert parts["calibration"].u_theta_deg == pytest.approx(0.022848, rel=1e-4)
    assert parts["level"].u_theta_deg == pytest.approx(0.02, rel=1e-6)
    assert {parts[name].layer for name in ("calibration", "level")} == {"common"}


@pytest.mark.parametrize("temperature_c", [12.0, 32.0])
def test_ten_kelvin_from_the_calibration(temperature_c: float) -> None:
    part = budget(ramp(imu_temperature_c=temperature_c))["temperature"]
    # 1e-4 g/K for 10 K: 1e-3 rad.
    assert part.u_theta_deg == pytest.approx(0.0572958, rel=1e-5)
    assert part.layer == "series"
    assert budget()["temperature"].u_theta_deg == 0.0


def test_an_error_of_the_angle_goes_into_kinetic_friction() -> None:
    # At 20° and µk = 0.3: 1 + 0.3·0.36397 = 1.10919 per radian; 0.006° are 1.0472e-4 rad.
    assert budget()["filter delay"].u_mu_kinetic == pytest.approx(1.16154e-4, rel=1e-5)
    theta = ufloat(math.radians(20.0), math.radians(0.006))
    pull = (math.tan(math.radians(20.0)) - 0.3) * math.cos(math.radians(20.0))
    kinetic = tan(theta) - pull / cos(theta)
    assert kinetic.nominal_value == pytest.approx(0.3)
    assert budget()["filter delay"].u_mu_kinetic == pytest.approx(kinetic.std_dev, rel=1e-9)
    unknown = solved(Source("gap", 0.1, 0.2), method="one_edge")
    assert budget(found=unknown)["filter delay"].u_mu_kinetic == 0.0
    assert budget(found=unknown)["gap"].u_mu_kinetic == 0.0


def three(dof: float = 7.0) -> Budget:
    """One component in each layer, that in `common` the largest."""
    return Budget(
        onset_angle_deg=45.0,
        components=[
            component("a", 0.3, "run", u_mu_kinetic=0.02),
            component("b", 0.4, "series", u_mu_kinetic=0.02),
            component("c", 1.2, "common", u_mu_kinetic=0.01, dof=dof),
        ],
    )


def test_layers_and_what_is_left_out() -> None:
    made = three()
    assert made.u_onset_angle_deg() == pytest.approx(1.3)
    assert made.u_onset_angle_deg(COMPARING) == pytest.approx(0.5)
    assert made.u_onset_angle_deg(without=("c",)) == pytest.approx(0.5)
    # sec²45° = 2; 1.3° are 0.0226893 rad.
    assert made.u_mu_static() == pytest.approx(0.0453786, rel=1e-5)
    assert made.u_mu_static(("run",)) == pytest.approx(0.0104720, rel=1e-5)
    assert made.u_mu_kinetic() == pytest.approx(0.03)
    assert [made.share(part) for part in made.components] == pytest.approx(
        [0.053254, 0.094675, 0.852071], rel=1e-4
    )
    # (1.3)⁴ / (1.2⁴ / 7).
    assert made.dof() == pytest.approx(9.64154, rel=1e-5)
    lines = made.lines()
    # The largest first.
    assert [line["name"] for line in lines] == ["c", "b", "a"]
    assert [line["dof"] for line in lines] == [7.0, None, None]
    assert lines[0]["u_mu_static"] == pytest.approx(0.0418879, rel=1e-5)
    assert lines[0]["share"] == pytest.approx(0.852071, rel=1e-4)


@pytest.mark.parametrize(("dof", "shown"), [(7.0, "9.6"), (700.0, "964.2"), (1.1e9, "∞")])
def test_a_budget_is_shown_by_size_with_degrees_of_freedom_that_say_something(
    dof: float, shown: str
) -> None:
    rows = budget_rows(three(dof))
    assert [row[0] for row in rows[1:]] == [
        *("c", "b", "a", "all run", "all series", "all common"),
        *("for comparing (run, series)", "in itself (combined)"),
    ]
    assert [rows[k][5] for k in (7, 8)] == ["0.5000", "1.3000"]
    assert rows[8][7] == shown


def test_a_budget_without_uncertainty_has_no_shares() -> None:
    part = component("a", 0.0)
    assert Budget(onset_angle_deg=20.0, components=[part]).share(part) == 0.0
