"""Bending length against Peirce's relation (J. Text. Inst. 21, T377, 1930) and the standards.

Values of f(θ) were recomputed from the published formula; that 41.5° is the angle of the standards'
indicator stands in a note of IS 6490:1971. The wording of ASTM D1388 option A and ISO 9073-7
(c = L/2 there) and the form G = 0.10·M·C³ of BS 3356 are from memory.
"""

import pytest
from scipy.optimize import brentq

from rig.study.droop import bending_length_mm, peirce_f

G_M_S2 = 9.80665


@pytest.mark.parametrize(
    ("angle_deg", "f"),
    [
        (7.1, 1.0005),
        (30.0, 0.59357),
        (41.0, 0.51260),
        (41.5, 0.50932),
        (43.0, 0.49962),
        (45.0, 0.48698),
    ],
)
def test_f_of_the_angle(angle_deg: float, f: float) -> None:
    assert peirce_f(angle_deg) == pytest.approx(f, abs=6e-6 if angle_deg > 10 else 6e-5)


def test_f_is_one_half_at_42_94_degrees_not_at_the_standards_41_5() -> None:
    root = brentq(lambda angle: peirce_f(angle) - 0.5, 30.0, 60.0)
    assert root == pytest.approx(42.9414, abs=1e-4)


def test_the_standards_take_half_the_overhang_at_41_5_degrees() -> None:
    assert bending_length_mm(50.0, 41.5, "half_at_41.5") == pytest.approx(25.0, rel=1e-12)


def test_mixing_the_conventions_would_cost_5_7_percent_of_the_rigidity() -> None:
    """Rigidity goes with c³: (2·f(41.5°))³ = 1.057."""
    ratio = bending_length_mm(1.0, 41.5, "peirce") / bending_length_mm(1.0, 41.5, "half_at_41.5")
    assert ratio**3 == pytest.approx(1.057, abs=5e-4)


def test_rigidity_of_a_fabric_of_200_g_m2_with_c_2_5_cm() -> None:
    """G = m·g·c³ = 312.5 mg·cm = 30.65 µN·m, from a strip that overhangs 5 cm at 41.5°."""
    c_m = bending_length_mm(50.0, 41.5, "half_at_41.5") / 1000.0
    rigidity_un_m = 0.200 * G_M_S2 * c_m**3 * 1e6
    assert rigidity_un_m == pytest.approx(30.65, abs=5e-3)
    assert rigidity_un_m / 0.09806650 == pytest.approx(312.5, rel=1e-9)


def test_a_strip_that_bends_little_follows_the_beam_formula() -> None:
    """For small θ, f³ → 1/(8θ): the tip of a cantilever of small deflection, w·L⁴/(8·EI)."""
    from math import radians

    for angle in (0.01, 0.1):
        assert peirce_f(angle) ** 3 == pytest.approx(1.0 / (8.0 * radians(angle)), rel=1e-5)
