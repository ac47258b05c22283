"""Displacements of a frame of straight bars: the stiffness method for a space frame.

Each bar has the stiffness of an Euler-Bernoulli beam with the twelve end displacements; joints are
stiff. Formulas: Weaver and Gere, Matrix Analysis of Framed Structures, from memory; the tests hold
it against beam tables (Roark's Formulas for Stress and Strain, table 8.1).
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Place = tuple[float, float, float]


class Section(NamedTuple):
    """Stiffness of a bar's section, in N and N·mm²."""

    stretch_n: float
    bend_tall_n_mm2: float
    """In the plane of the bar and the vertical (of a vertical bar: of x)."""
    bend_wide_n_mm2: float
    twist_n_mm2: float


class Bar(NamedTuple):
    """A straight bar between two joints, in mm."""

    start: Place
    end: Place
    section: Section


def rectangle(wide_mm: float, tall_mm: float, modulus_gpa: float, shear_gpa: float) -> Section:
    """A full rectangle; its torsion constant is that of Roark's table 10.1."""
    e, g = modulus_gpa * 1000, shear_gpa * 1000
    a, b = sorted((wide_mm / 2, tall_mm / 2), reverse=True)
    torsion = a * b**3 * (16 / 3 - 3.36 * b / a * (1 - b**4 / (12 * a**4)))
    area = wide_mm * tall_mm
    return Section(e * area, e * area * tall_mm**2 / 12, e * area * wide_mm**2 / 12, g * torsion)


def displacements(
    bars: Iterable[Bar],
    held: Mapping[Place, str],
    cases: Sequence[Mapping[Place, Place]],
) -> "list[dict[Place, NDArray[np.float64]]]":
    """Displacement of every joint in each of some cases of load, in mm.

    Args:
        bars: the frame; bars with a common end are joined stiffly there.
        held: the directions, of "xyz", in which a joint cannot move.
        cases: forces on joints, in N.

    Returns:
        Displacements along x, y and z.
    """
    import numpy as np

    bars = list(bars)
    joints = {place: i for i, place in enumerate(dict.fromkeys(p for b in bars for p in b[:2]))}
    total = np.zeros((6 * len(joints), 6 * len(joints)))
    for bar in bars:
        at = [6 * joints[end] + i for end in bar[:2] for i in range(6)]
        total[np.ix_(at, at)] += _stiffness(bar)
    force = np.zeros((len(total), len(cases)))
    for column, loads_n in enumerate(cases):
        for place, load in loads_n.items():
            force[6 * joints[place] : 6 * joints[place] + 3, column] += load
    fixed = {6 * joints[place] + "xyz".index(way) for place, ways in held.items() for way in ways}
    free = [i for i in range(len(total)) if i not in fixed]
    moved = np.zeros_like(force)
    moved[free] = np.linalg.solve(total[np.ix_(free, free)], force[free])
    return [
        {place: moved[6 * i : 6 * i + 3, column] for place, i in joints.items()}
        for column in range(len(cases))
    ]


def _stiffness(bar: Bar) -> "NDArray[np.float64]":
    import numpy as np

    way = np.subtract(bar.end, bar.start)
    length = float(np.linalg.norm(way))
    along = way / length
    upright = (1.0, 0.0, 0.0) if abs(along[2]) > 0.99 else (0.0, 0.0, 1.0)
    across = np.cross(upright, along)
    across /= np.linalg.norm(across)
    turn = np.kron(np.eye(4), np.array([along, across, np.cross(along, across)]))
    k = np.zeros((12, 12))
    for i, stiff in ((0, bar.section.stretch_n), (3, bar.section.twist_n_mm2)):
        k[np.ix_([i, i + 6], [i, i + 6])] = stiff / length * np.array([[1, -1], [-1, 1]])
    bending = ((1, 5, 1, bar.section.bend_wide_n_mm2), (2, 4, -1, bar.section.bend_tall_n_mm2))
    for shift, turned, sign, stiff in bending:
        s, c = sign * 6 * length, length**2
        at = [shift, turned, shift + 6, turned + 6]
        k[np.ix_(at, at)] = (
            stiff
            / length**3
            * np.array(
                [
                    [12, s, -12, s],
                    [s, 4 * c, -s, 2 * c],
                    [-12, -s, 12, -s],
                    [s, 2 * c, -s, 4 * c],
                ]
            )
        )
    return turn.T @ k @ turn
