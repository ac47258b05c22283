"""Each component of a run's budget against arithmetic done by hand."""

import math
from typing import Any

import numpy as np
import pytest
from uncertainties import ufloat
from uncertainties.umath import cos, tan

from rig.analysis.angle import Ramp
from rig.analysis.budget import Variation, run_budget, u_misfit_mm, u_solved_mm
from rig.analysis.estimate import Solved
from rig.analysis.onset import NoOnset
from rig.analysis.uncertainty import Budget, Component
from rig.calibration.model import Calibration
from tests.analysis.parts import bare_run, component, gravity, ramp, solved, variation
from tests.calibration.example import calibration, diagonal

LATE = NoOnset("late")


def budget(
    *variations: Variation,
    of: Ramp | None = None,
    found: Solved | None = None,
    used: Calibration | None = None,
) -> dict[str, Component]:
    """Components by name for an onset of 20° at 2 °/s, unless the arguments say otherwise."""
    made = run_budget(
        bare_run(), used or calibration(), of or ramp(), found or solved(), list(variations)
    )
    return {part.name: part for part in made.components}


def test_ramp_fit_is_the_covariance_at_the_onset() -> None:
    covariance = np.array([[4e-4, 1e-4], [1e-4, 1e-4]])
    part = budget(of=ramp(covariance=covariance, dof=11.0), found=solved(onset_s=28.0))["ramp fit"]
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
    assert budget(of=ramp(slope_deg_s=-2.0))["filter delay"].u_theta_deg == pytest.approx(0.006)


def test_unknown_kinetic_friction_is_the_half_range_of_the_onset() -> None:
    unknown = solved(mu_kinetic=None, method="one_edge", half_range_s=0.3)
    part = budget(found=unknown)["kinetic friction"]
    # 0.3 s at 2 °/s are 0.6°; over √3.
    assert part.u_theta_deg == pytest.approx(0.346410, rel=1e-5)
    assert (part.distribution, part.layer) == ("rectangular", "series")
    falling = budget(found=unknown, of=ramp(slope_deg_s=-2.0))["kinetic friction"]
    assert falling.u_theta_deg == pytest.approx(0.346410, rel=1e-5)
    assert "kinetic friction" not in budget()


def test_an_unsteady_ramp_counts_a_tenth_of_a_degree() -> None:
    part = budget(of=ramp(steady=False))["unsteady ramp"]
    assert (part.u_theta_deg, part.layer) == (0.1, "series")
    assert "unsteady ramp" not in budget()


def test_calibration_and_level_at_24_degrees() -> None:
    used = calibration(covariance=diagonal(3e-4, 3e-4, 3e-4, 5e-4, 5e-4, 5e-4, 0.02, 0.5))
    parts = budget(of=ramp(gravity=gravity(24.0)), used=used)
    # θ = atan(x/z): the biases give 3e-4 rad at any angle, the gains 5e-4·√2·sin θ cos θ:
    # √(9.0e-8 + 6.90e-8) = 3.9878e-4 rad. A level tilted across counts nothing, along as it is.
    assert parts["calibration"].u_theta_deg == pytest.approx(0.022848, rel=1e-4)
    assert parts["level"].u_theta_deg == pytest.approx(0.02, rel=1e-6)
    assert {parts[name].layer for name in ("calibration", "level")} == {"common"}


@pytest.mark.parametrize("temperature_c", [12.0, 32.0])
def test_ten_kelvin_from_the_calibration(temperature_c: float) -> None:
    part = budget(of=ramp(imu_temperature_c=temperature_c))["temperature"]
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
    assert budget(found=solved(mu_kinetic=None))["filter delay"].u_mu_kinetic == 0.0


@pytest.mark.parametrize(
    ("low", "high", "u_theta_deg", "sensitivity", "u_mu_kinetic"),
    [
        # 0.1 s and 0.2 s at 2 °/s: the root mean square of 0.2° and 0.4°.
        (solved(onset_s=30.1), solved(onset_s=29.8), 0.316228, -0.105409, 0.0),
        (solved(onset_s=29.8), solved(onset_s=30.1), 0.316228, 0.105409, 0.0),
        (solved(mu_kinetic=0.31), solved(mu_kinetic=0.27), 0.0, 0.0, 0.0223607),
        (LATE, solved(onset_s=30.1), 0.2, 0.2 / 3.0, 0.0),
        (solved(onset_s=30.1), LATE, 0.2, 0.2 / 3.0, 0.0),
        (LATE, LATE, 0.0, 0.0, 0.0),
    ],
)
def test_what_the_solver_finds_both_ways(
    low: Any, high: Any, u_theta_deg: float, sensitivity: float, u_mu_kinetic: float
) -> None:
    part = budget(variation(3.0, low, high))["gap"]
    assert part.u_theta_deg == pytest.approx(u_theta_deg, rel=1e-5)
    assert part.sensitivity == pytest.approx(sensitivity, rel=1e-5)
    assert part.u_mu_kinetic == pytest.approx(u_mu_kinetic, rel=1e-5)


def test_a_distance_that_is_known_exactly_has_no_part() -> None:
    part = budget(variation(0.0, solved(), solved()))["gap"]
    assert (part.u_theta_deg, part.sensitivity) == (0.0, 0.0)


def test_u_of_what_the_edges_gave_is_the_root_sum_of_the_changes() -> None:
    found = solved(misfit_mm=5.0, gap_mm=8.0, length_mm=150.0)
    moved = found._replace(misfit_mm=2.0, gap_mm=12.0, length_mm=138.0)
    other = found._replace(misfit_mm=9.0, gap_mm=5.0, length_mm=155.0)
    both = [variation(1.0, moved, moved), variation(1.0, other, other, "slump")]
    assert u_misfit_mm(found, both) == pytest.approx(5.0)
    assert u_solved_mm(found, both, "gap_mm") == pytest.approx(5.0)
    assert u_solved_mm(found, both, "length_mm") == pytest.approx(13.0)
    assert u_solved_mm(solved(), both, "gap_mm") == 0.0


def test_layers_and_what_is_left_out() -> None:
    made = Budget(
        onset_angle_deg=45.0,
        components=[
            component("a", 0.3, "run", u_mu_kinetic=0.02),
            component("b", 0.4, "series", u_mu_kinetic=0.02),
            component("c", 1.2, "common", u_mu_kinetic=0.01, dof=7.0),
        ],
    )
    assert made.u_onset_angle_deg() == pytest.approx(1.3)
    assert made.u_onset_angle_deg(("run", "series")) == pytest.approx(0.5)
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
    assert [line["dof"] for line in lines] == [None, None, 7.0]
    assert lines[2]["u_mu_static"] == pytest.approx(0.0418879, rel=1e-5)
    assert lines[2]["share"] == pytest.approx(0.852071, rel=1e-4)


def test_a_budget_without_uncertainty_has_no_shares() -> None:
    part = component("a", 0.0)
    assert Budget(onset_angle_deg=20.0, components=[part]).share(part) == 0.0
