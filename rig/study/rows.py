"""One usable slide as the statistics see it, and who the bags are."""

from collections.abc import Iterable
from math import atan, cos, degrees, radians, tan
from typing import NamedTuple

from msgspec import Struct

from rig.study.catalogue import BASELINE, Catalogue, Role

CONTROLS = "controls"
"""The name of the untreated group in tables."""


class Row(Struct, frozen=True, kw_only=True):
    """One slide that counts; None is "not known"."""

    bag: str
    face: str
    board: str
    stage: str
    session: str
    series: str
    onset_angle_deg: float
    u_run_deg: float | None = None
    """Standard uncertainty of the run's angle, from its budget."""
    mu_static: float | None = None
    slide_number: int | None = None
    order: int = 0
    """Place in time among all rows."""
    surface_humidity_pct: float | None = None
    temperature_c: float | None = None
    damp_share: float | None = None
    """How the bag came to this air: 0 from dry, 1 from damp, None unknown."""
    rate_deg_s: float = 1.0
    run_id: str = ""
    by_hand: bool = False


class Unit(NamedTuple):
    """What has one slide angle in one air: a bag's face on a board at a stage."""

    bag: str
    face: str
    board: str
    stage: str


class BagInfo(Struct, frozen=True, kw_only=True):
    """What a comparison must know about a bag."""

    role: Role = "treated"
    treatment: str | None = None
    set: str | None = None
    model: str | None = None

    @property
    def group(self) -> str | None:
        """The group of bags that it is compared in; None for the reference bag."""
        if self.role == "reference":
            return None
        return CONTROLS if self.role == "control" else (self.treatment or "treated")


def bags_of(catalogue: Catalogue) -> dict[str, BagInfo]:
    """The bags of a study."""
    return {
        name: BagInfo(role=bag.role, treatment=bag.treatment, set=bag.set, model=bag.model)
        for name, bag in catalogue.bags.items()
    }


def unit_of(row: Row) -> Unit:
    """The unit that a row belongs to."""
    return Unit(row.bag, row.face, row.board, row.stage)


def stage_number(stage: str) -> int:
    """Place of a stage in time: 0 for the baseline, N for `after N`, last for other names."""
    if stage == BASELINE:
        return 0
    word, _, number = stage.rpartition(" ")
    return int(number) if word == "after" and number.isdigit() else 1_000_000


def stages_in(rows: Iterable[Row]) -> list[str]:
    """The stages that occur, in order of time."""
    first: dict[str, int] = {}
    for row in rows:
        first[row.stage] = min(first.get(row.stage, row.order), row.order)
    return sorted(first, key=lambda stage: (stage_number(stage), first[stage]))


def angle_of(mu: float) -> float:
    """Slide angle in degrees of a coefficient."""
    return degrees(atan(mu))


def mu_of(angle_deg: float) -> float:
    """Coefficient of a slide angle in degrees."""
    return tan(radians(angle_deg))


def mu_change(angle_deg: float, change_deg: float) -> float:
    """A change of angle about an angle, as a change of the coefficient: sec²θ·δθ."""
    return radians(change_deg) / cos(radians(angle_deg)) ** 2
