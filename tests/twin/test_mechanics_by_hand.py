"""The board against gravity, by vectors, and the screw's triangle where it is a known one."""

from math import atan2, cos, degrees, radians, sin, sqrt, tan

import numpy as np
import pytest

from rig.twin.mechanics import Incline, TrueLinkage


@pytest.mark.parametrize("along_deg", [-3.0, 0.0, 2.0])
@pytest.mark.parametrize("across_deg", [-4.0, 0.0, 6.0])
@pytest.mark.parametrize("angle_deg", [5.0, 21.8, 45.0])
def test_the_board_by_vectors(along_deg: float, across_deg: float, angle_deg: float) -> None:
    incline, angle = Incline.of(along_deg, across_deg), radians(angle_deg)
    x, y = sin(radians(along_deg)), sin(radians(across_deg))
    up = np.array([x, y, sqrt(1 - x**2 - y**2)])
    normal = np.array([-sin(angle), 0.0, cos(angle)])
    uphill = up - (up @ normal) * normal
    steepness = float(np.linalg.norm(uphill))
    assert incline.sin_cos(angle) == pytest.approx((steepness, up @ normal))
    assert incline.tangent(angle) == pytest.approx(steepness / (up @ normal))
    assert incline.total_deg(angle) == pytest.approx(degrees(atan2(steepness, up @ normal)))
    along = np.array([cos(angle), 0.0, sin(angle)])
    assert incline.downhill_cosine(angle) == pytest.approx(along @ uphill / steepness)
    found = incline.angle_for(incline.tangent(angle))
    assert found == pytest.approx(angle)


def test_which_way_is_down_on_a_board_that_is_level_or_tilts_backwards() -> None:
    assert Incline.of(0.0, 0.0).downhill_cosine(0.0) == 1.0
    assert Incline.of(-5.0, 0.0).downhill_cosine(0.0) == 1e-3


def test_less_than_the_cross_slope_is_never_reached() -> None:
    incline = Incline.of(0.0, 10.0)
    assert incline.angle_for(tan(radians(9.9))) is None
    assert incline.angle_for(tan(radians(10.1))) is not None


def test_known_triangles() -> None:
    linkage = TrueLinkage.of(900.0, 450.0, 20.0)
    assert linkage.length_mm(radians(40.0)) == pytest.approx(450.0 * sqrt(3.0))
    assert linkage.length_mm(radians(70.0)) == pytest.approx(450.0 * sqrt(5.0))
    assert degrees(linkage.angle_rad(450.0 * sqrt(3.0))) == pytest.approx(40.0)
    # No screw is so short or so long: as near as the triangle goes.
    assert degrees(linkage.angle_rad(400.0)) == pytest.approx(-20.0)
    assert degrees(linkage.angle_rad(1400.0)) == pytest.approx(160.0)
