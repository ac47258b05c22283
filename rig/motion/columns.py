"""The load at which a round bar buckles, by Euler and by J. B. Johnson.

Formulas: Budynas and Nisbett, Shigley's Mechanical Engineering Design, sections 4-12 and 4-13.
"""

from math import pi, sqrt


def critical_force_n(
    length_mm: float,
    area_mm2: float,
    inertia_mm4: float,
    modulus_gpa: float,
    yield_mpa: float,
    end_condition: float = 1.0,
) -> float:
    """Load at which a straight column fails, in N.

    Args:
        length_mm: between its ends.
        area_mm2: of its section.
        inertia_mm4: least second moment of its section.
        modulus_gpa: Young's modulus.
        yield_mpa: yield strength.
        end_condition: C: 1 for both ends pinned, 1/4 for one fixed and one free.

    Returns:
        Euler's load of a slender column, Johnson's parabola of one below √(2π²CE/S_y).
    """
    modulus_mpa = modulus_gpa * 1000
    slenderness = length_mm / sqrt(inertia_mm4 / area_mm2)
    stiffness = end_condition * pi**2 * modulus_mpa
    if slenderness > sqrt(2 * stiffness / yield_mpa):
        return area_mm2 * stiffness / slenderness**2
    return area_mm2 * (yield_mpa - (yield_mpa * slenderness) ** 2 / (4 * stiffness))


def round_bar(outer_mm: float, inner_mm: float = 0.0) -> tuple[float, float]:
    """Area in mm² and second moment in mm⁴ of a round bar or tube."""
    area = pi / 4 * (outer_mm**2 - inner_mm**2)
    return area, pi / 64 * (outer_mm**4 - inner_mm**4)
