"""Distances on a ramp against a closed form, between the grid's points as well."""

import numpy as np
import pytest

from rig.analysis.onset import distance_mm
from rig.analysis.plane import Plane
from tests.analysis.even_ramp import moved_mm


@pytest.mark.parametrize("until_s", [11.0, 11.5, 11.73])
@pytest.mark.parametrize("onset_s", [10.0, 10.5, 10.27])
@pytest.mark.parametrize("mu_kinetic", [0.0, 0.15])
def test_distance_from_rest(until_s: float, onset_s: float, mu_kinetic: float) -> None:
    # A coarse grid, of 0.5 s at 3 °/s: the acceleration is taken as straight between its points.
    plane = Plane(9.0, 0.5, 3.0 * np.linspace(9.0, 12.0, 7))
    true = moved_mm(until_s, onset_s, mu_kinetic, 3.0)
    assert distance_mm(plane, until_s, onset_s, mu_kinetic) == pytest.approx(true, abs=0.5)


def test_angles_between_the_points() -> None:
    plane = Plane(2.0, 0.5, np.array([1.0, 2.0, 4.0]))
    assert plane.end_s == 3.0
    assert plane.angle_deg([2.25, 2.75, 3.0]) == pytest.approx([1.5, 3.0, 4.0])
