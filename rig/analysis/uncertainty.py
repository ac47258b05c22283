"""Uncertainty budgets after JCGM 100 (GUM), in three layers that are kept apart.

`run` parts differ from run to run, so they show in the scatter and shrink with repeats; `series`
parts are shared by the runs of one series; `common` parts are shared by all runs of a rig, don't
shrink, and cancel in differences.
"""

import math
from collections.abc import Iterable
from typing import Any, Literal

import msgspec

from rig.files.plain import plain
from rig.statistics.satterthwaite import welch_satterthwaite

Layer = Literal["run", "series", "common"]
Distribution = Literal["normal", "rectangular", "asymmetric"]

FRICTION_LAW_RANGE_DEG = (-0.09, 0.45)
"""Error of the onset at 1 °/s for friction that falls gradually (Stribeck, slip weakening, LuGre),
from simulated slides; one-sided for each law. Gaps of 1.5 to 8 mm, µs − µk of 0.01 to 0.1, Stribeck
speeds of 3 to 100 mm/s, weakening over 0.3 to 3 mm. The wider the gap, the more of the slow start
is seen: up to 3 mm the upper end is 0.35°. Below 1.5 mm the bag's creep before it slides counts."""


class Component(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a budget."""

    name: str
    u_value: float
    """Standard uncertainty of the input, in `unit`."""
    unit: str
    distribution: Distribution
    sensitivity: float
    """Degrees of onset angle per unit."""
    u_theta_deg: float
    """Contribution to the onset angle, in degrees."""
    u_mu_kinetic: float = 0.0
    """Contribution to the kinetic coefficient."""
    dof: float = math.inf
    layer: Layer


class Budget(msgspec.Struct, frozen=True, kw_only=True):
    """All components of one result."""

    onset_angle_deg: float
    components: list[Component]

    def u_onset_angle_deg(
        self, layers: Iterable[Layer] = ("run", "series", "common"), without: Iterable[str] = ()
    ) -> float:
        """Combined standard uncertainty of the angle, in degrees.

        Args:
            layers: only the components of these layers.
            without: names of components to leave out.
        """
        chosen, left_out = set(layers), set(without)
        return root_sum_square(
            part.u_theta_deg
            for part in self.components
            if part.layer in chosen and part.name not in left_out
        )

    def u_mu_static(self, layers: Iterable[Layer] = ("run", "series", "common")) -> float:
        """Combined standard uncertainty of µs = tan θ: sec²θ · u(θ)."""
        return u_of_tangent(self.onset_angle_deg, self.u_onset_angle_deg(layers))

    def u_mu_kinetic(self) -> float:
        """Combined standard uncertainty of µk."""
        return root_sum_square(part.u_mu_kinetic for part in self.components)

    def share(self, part: Component) -> float:
        """Share of a component in the variance of the angle."""
        whole = self.u_onset_angle_deg()
        return (part.u_theta_deg / whole) ** 2 if whole > 0.0 else 0.0

    def lines(self) -> list[dict[str, Any]]:
        """The components as plain values for JSON, each with its `u_mu_static` and its `share`."""
        return [
            plain(part)
            | {
                "u_mu_static": u_of_tangent(self.onset_angle_deg, part.u_theta_deg),
                "share": self.share(part),
            }
            for part in self.components
        ]

    def dof(self) -> float:
        """Effective degrees of freedom of the angle (Welch–Satterthwaite)."""
        return welch_satterthwaite([(part.u_theta_deg, part.dof) for part in self.components])


def root_sum_square(values: Iterable[float]) -> float:
    """Square root of the sum of squares."""
    return math.sqrt(math.fsum(value * value for value in values))


def u_of_tangent(angle_deg: float, u_angle_deg: float) -> float:
    """Standard uncertainty of tan θ from that of θ, both in degrees: sec²θ · u(θ)."""
    return math.radians(u_angle_deg) / math.cos(math.radians(angle_deg)) ** 2


def friction_law_component(rate_deg_s: float) -> Component:
    """What no method can remove that knows no law: how friction falls as sliding starts.

    The error grows with rate^(2/3) and has one sign for each law, which is not known. So the
    result is not shifted, and the standard uncertainty is the root mean square of an error that
    lies anywhere in the range: √(mean² + width²/12).
    """
    low, high = FRICTION_LAW_RANGE_DEG
    u = math.sqrt(((low + high) / 2.0) ** 2 + (high - low) ** 2 / 12.0)
    scale = rate_deg_s ** (2.0 / 3.0)
    return Component(
        name="friction law",
        u_value=u,
        unit="deg at 1 deg/s",
        distribution="asymmetric",
        sensitivity=scale,
        u_theta_deg=u * scale,
        layer="common",
    )
