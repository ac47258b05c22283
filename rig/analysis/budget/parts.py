"""Uncertainty budgets after JCGM 100 (GUM), in three layers that are kept apart.

`run` parts differ from run to run, so they show in the scatter and shrink with repeats; `series`
parts are shared by the runs of one series, or of one bag; `common` parts are shared by all runs of
a rig, don't shrink, and cancel in differences. So a slide has two uncertainties: *for comparing*
with others of the rig, of the first two layers, and *in itself*, of all three.
"""

import math
from collections.abc import Iterable
from typing import Any, Literal, get_args

import msgspec

from rig.files.plain import plain
from rig.statistics.satterthwaite import welch_satterthwaite

Layer = Literal["run", "series", "common"]
LAYERS: tuple[Layer, ...] = get_args(Layer)
Distribution = Literal["normal", "rectangular", "asymmetric"]

COMPARING: tuple[Layer, ...] = ("run", "series")
"""What counts where two slides of one rig are compared; the layer "common" is alike for both."""

LAW_FLOOR_DEG = 0.05
"""At 1 °/s, by simulation: what laws within the family leave beyond the posterior's own width."""

RATE_FREE_DEG = 0.42
"""Standard uncertainty, at 1 °/s, of the step from the angle at this rate to one at none: laws with
an elastic contact, outside the family, move the angle by this (rms; `tests/bench/ONSET.md`)."""


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


def component_deg(
    name: str, u_deg: float, layer: Layer, distribution: Distribution = "normal"
) -> Component:
    """A line whose input is the onset angle itself, in degrees."""
    return Component(
        name=name,
        u_value=u_deg,
        unit="deg",
        distribution=distribution,
        sensitivity=1.0,
        u_theta_deg=u_deg,
        layer=layer,
    )


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
            for part in self.by_size()
        ]

    def by_size(self) -> list[Component]:
        """The components, the largest first."""
        return sorted(self.components, key=lambda part: -part.u_theta_deg)

    def dof(self) -> float:
        """Effective degrees of freedom of the angle (Welch–Satterthwaite)."""
        return welch_satterthwaite([(part.u_theta_deg, part.dof) for part in self.components])


def root_sum_square(values: Iterable[float]) -> float:
    """Square root of the sum of squares."""
    return math.sqrt(math.fsum(value * value for value in values))


def u_of_tangent(angle_deg: float, u_angle_deg: float) -> float:
    """Standard uncertainty of tan θ from that of θ, both in degrees: sec²θ · u(θ)."""
    return math.radians(u_angle_deg) / math.cos(math.radians(angle_deg)) ** 2


def law_floor_deg(rate_deg_s: float) -> float:
    """What the friction law leaves uncertain however well the edges tell it: as rate^(2/3)."""
    return float(LAW_FLOOR_DEG * rate_deg_s ** (2.0 / 3.0))


def rate_free_component(rate_deg_s: float) -> Component:
    """What a coefficient at no rate would have beyond the one at this rate; as rate^(1/3)."""
    scale = rate_deg_s ** (1.0 / 3.0)
    return Component(
        name="friction law, rate-free",
        u_value=RATE_FREE_DEG,
        unit="deg at 1 deg/s",
        distribution="normal",
        sensitivity=scale,
        u_theta_deg=RATE_FREE_DEG * scale,
        layer="common",
    )
