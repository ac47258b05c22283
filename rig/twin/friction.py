"""Friction laws of the simulated bag: how the coefficient follows slip, speed and contact state.

A new law is one class with the members of `Law` and an entry in `LAWS`. All laws are normalised
by the normal load, so that they give a coefficient (no unit). The laws are from memory of the
papers named in each class.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, inf, log
from typing import ClassVar, Literal, Protocol, get_args

LawName = Literal["coulomb", "slip_weakening", "stribeck", "lugre"]
LAW_NAMES: tuple[LawName, ...] = get_args(LawName)

COARSE_STEP_S = 8e-3
"""Longest step of integration: nothing in a smooth slide happens faster."""


class Law(Protocol):
    """A friction law for sliding downhill (speed at or above zero, but for a loaded bristle)."""

    @property
    def mu_static(self) -> float:
        """The highest coefficient at rest."""

    @property
    def mu_kinetic(self) -> float:
        """The coefficient in steady sliding."""

    @property
    def is_dynamic(self) -> bool:
        """True when the law itself holds the bag at rest, through a bristle that deflects."""

    def at_rest(self, tangent: float) -> tuple[float, float]:
        """Creep (m) and deflection (m) on an incline raised slowly from level to this tangent."""

    def mu(self, slip_m: float, speed_m_s: float, bristle_m: float) -> float:
        """The coefficient at a slip since the start of sliding, a speed and a deflection."""

    def bristle_rate_m_s(self, speed_m_s: float, bristle_m: float) -> float:
        """Rate of the bristle's deflection; zero in a law without one."""

    def max_step_s(self, slip_m: float, speed_m_s: float) -> float:
        """The longest step that a fourth-order method may take here."""


@dataclass(frozen=True)
class Coulomb:
    """µs at rest, µk as soon as it moves."""

    mu_static: float
    mu_kinetic: float
    is_dynamic: ClassVar[bool] = False

    def at_rest(self, tangent: float) -> tuple[float, float]:
        """No creep, no bristle."""
        return 0.0, 0.0

    def mu(self, slip_m: float, speed_m_s: float, bristle_m: float) -> float:
        """µk."""
        return self.mu_kinetic

    def bristle_rate_m_s(self, speed_m_s: float, bristle_m: float) -> float:
        """No bristle."""
        return 0.0

    def max_step_s(self, slip_m: float, speed_m_s: float) -> float:
        """The coarse step."""
        return COARSE_STEP_S


@dataclass(frozen=True)
class SlipWeakening:
    """µ(s) = µk + (µs − µk)·exp(−s/d_c), after Rabinowicz's slip distance (J. Appl. Phys. 1951)."""

    mu_static: float
    mu_kinetic: float
    weakening_distance_m: float = 1.0e-3
    is_dynamic: ClassVar[bool] = False

    def at_rest(self, tangent: float) -> tuple[float, float]:
        """No creep, no bristle."""
        return 0.0, 0.0

    def mu(self, slip_m: float, speed_m_s: float, bristle_m: float) -> float:
        """The coefficient after a slip."""
        fall = self.mu_static - self.mu_kinetic
        return self.mu_kinetic + fall * exp(-max(slip_m, 0.0) / self.weakening_distance_m)

    def bristle_rate_m_s(self, speed_m_s: float, bristle_m: float) -> float:
        """No bristle."""
        return 0.0

    def max_step_s(self, slip_m: float, speed_m_s: float) -> float:
        """A tenth of the weakening distance at a time, while it still weakens."""
        if slip_m > 20.0 * self.weakening_distance_m:
            return COARSE_STEP_S
        return min(2e-3, 0.1 * self.weakening_distance_m / max(speed_m_s, 1e-9))


@dataclass(frozen=True)
class Stribeck:
    """µ(v) = µk + (µs − µk)·exp(−(v/v_s)²) + k_v·v, the form of Bo and Pavelescu (Wear 1982)."""

    mu_static: float
    mu_kinetic: float
    stribeck_speed_m_s: float = 0.03
    viscous_s_m: float = 0.0
    is_dynamic: ClassVar[bool] = False

    def at_rest(self, tangent: float) -> tuple[float, float]:
        """No creep, no bristle."""
        return 0.0, 0.0

    def mu(self, slip_m: float, speed_m_s: float, bristle_m: float) -> float:
        """The coefficient at a speed."""
        ratio = speed_m_s / self.stribeck_speed_m_s
        fall = (self.mu_static - self.mu_kinetic) * exp(-ratio * ratio)
        return self.mu_kinetic + fall + self.viscous_s_m * speed_m_s

    def bristle_rate_m_s(self, speed_m_s: float, bristle_m: float) -> float:
        """No bristle."""
        return 0.0

    def max_step_s(self, slip_m: float, speed_m_s: float) -> float:
        """Fine until the speed is well past the fall of the curve."""
        return COARSE_STEP_S if speed_m_s > 5.0 * self.stribeck_speed_m_s else 2e-3


@dataclass(frozen=True)
class LuGre:
    """The bristle model of Canudas de Wit, Olsson, Åström and Lischinsky (IEEE TAC 40, 1995).

    ż = v − (σ0·|v|/g(v))·z, µ = σ0·z + σ1·ż + σ2·v, g(v) = µk + (µs − µk)·exp(−(v/v_s)²); here
    each is divided by the normal load, so σ0 is in 1/m, σ1 and σ2 in s/m. σ1 falls off with speed
    (as exp(−(v/v_d)²)), the authors' own remedy that keeps the model passive.
    """

    mu_static: float
    mu_kinetic: float
    stiffness_1_m: float = 4000.0
    damping_s_m: float = 3.0
    viscous_s_m: float = 0.0
    stribeck_speed_m_s: float = 0.03
    damping_speed_m_s: float = 0.01
    is_dynamic: ClassVar[bool] = True

    def steady_level(self, speed_m_s: float) -> float:
        """g(v): the coefficient in steady sliding, without the viscous part."""
        ratio = speed_m_s / self.stribeck_speed_m_s
        return self.mu_kinetic + (self.mu_static - self.mu_kinetic) * exp(-ratio * ratio)

    def at_rest(self, tangent: float) -> tuple[float, float]:
        """Quasi-static solution: σ0·z = tan θ, and ds = dz/(1 − σ0·z/µs) integrated from level."""
        share = min(tangent / self.mu_static, 0.999)
        creep_m = -self.mu_static / self.stiffness_1_m * log(1.0 - share)
        return creep_m, tangent / self.stiffness_1_m

    def mu(self, slip_m: float, speed_m_s: float, bristle_m: float) -> float:
        """The coefficient at a speed and a deflection."""
        fade = speed_m_s / self.damping_speed_m_s
        return (
            self.stiffness_1_m * bristle_m
            + self.damping_s_m * exp(-fade * fade) * self.bristle_rate_m_s(speed_m_s, bristle_m)
            + self.viscous_s_m * speed_m_s
        )

    def bristle_rate_m_s(self, speed_m_s: float, bristle_m: float) -> float:
        """ż."""
        pull = self.stiffness_1_m * abs(speed_m_s) / self.steady_level(speed_m_s)
        return speed_m_s - pull * bristle_m

    def max_step_s(self, slip_m: float, speed_m_s: float) -> float:
        """Within the stability of the method, for the bristle's relaxation and its vibration."""
        relaxation = self.stiffness_1_m * abs(speed_m_s) / self.steady_level(speed_m_s)
        return min(2e-3, 2.0 / relaxation if relaxation > 0.0 else inf)


LAWS: dict[LawName, Callable[..., Law]] = {
    "coulomb": Coulomb,
    "slip_weakening": SlipWeakening,
    "stribeck": Stribeck,
    "lugre": LuGre,
}


def make_law(
    name: LawName, mu_static: float, mu_kinetic: float, parameters: dict[str, float] | None = None
) -> Law:
    """The law of this name with its coefficients; `parameters` are further fields of its class.

    Raises:
        ValueError: when µk is above µs or not above zero.
    """
    if not 0.0 < mu_kinetic <= mu_static:
        raise ValueError(f"0 < µk ≤ µs does not hold for µk {mu_kinetic:.4f}, µs {mu_static:.4f}")
    return LAWS[name](mu_static, mu_kinetic, **(parameters or {}))
