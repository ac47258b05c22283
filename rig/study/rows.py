"""One usable slide as the statistics see it, and who the bags are."""

from collections.abc import Iterable
from itertools import groupby
from math import atan, cos, degrees, radians, tan
from typing import NamedTuple

from msgspec import Struct

from rig.study.catalogue import Catalogue, Role, stage_number
from rig.study.journal import Journal, Treatment

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


class BagFace(NamedTuple):
    """What has one slide angle in one air: a bag's face on a board at a stage."""

    bag: str
    face: str
    board: str
    stage: str


class BagInfo(Struct, frozen=True, kw_only=True):
    """What a comparison must know about a bag."""

    role: Role = "treated"
    treatment: str | None = None
    """What to call its group while the journal has no treatment of it."""
    done: tuple[tuple[str, str], ...] = ()
    """Stage and name of each treatment in the journal, in order."""
    set: str | None = None
    model: str | None = None

    def group(self, before: str | None = None, after: str | None = None) -> str | None:
        """The group of bags that it is compared in; None for the reference bag.

        Args:
            before: treatments of later stages count; all if None.
            after: treatments up to this stage count; all if None.
        """
        if self.role == "reference":
            return None
        if self.role == "control":
            return CONTROLS
        low = -1 if before is None else stage_place(before)
        high = 10**9 if after is None else stage_place(after)
        names = [name for stage, name in self.done if low < stage_place(stage) <= high]
        return ", then ".join(key for key, _ in groupby(names)) or self.treatment or "treated"


def bags_of(catalogue: Catalogue, journal: Journal) -> dict[str, BagInfo]:
    """The bags of a study, with what was done to them as the journal says."""
    return {
        name: BagInfo(
            role=bag.role,
            treatment=None if bag.treatment is None else f"{bag.treatment} (planned)",
            done=tuple(
                (entry.stage, treatment_name(entry, bag.treatment))
                for entry in journal.treatments_of(name)
            ),
            set=bag.set,
            model=bag.model,
        )
        for name, bag in catalogue.bags.items()
    }


def treatment_name(entry: Treatment, planned: str | None) -> str:
    """The recipe that was used; else the steps, with the plan's name marked as such."""
    if entry.recipe is not None:
        return entry.recipe
    steps = ", ".join(step.action for step in entry.steps)
    return steps if planned is None else f"{steps} (planned: {planned})"


def unit_of(row: Row) -> BagFace:
    """The unit that a row belongs to."""
    return BagFace(row.bag, row.face, row.board, row.stage)


def stage_place(stage: str) -> int:
    """Place of a stage in time; names that are none come last."""
    number = stage_number(stage)
    return 1_000_000 if number is None else number


def stages_in(rows: Iterable[Row]) -> list[str]:
    """The stages that occur, in order of time."""
    first: dict[str, int] = {}
    for row in rows:
        first[row.stage] = min(first.get(row.stage, row.order), row.order)
    return sorted(first, key=lambda stage: (stage_place(stage), first[stage]))


def angle_of(mu: float) -> float:
    """Slide angle in degrees of a coefficient."""
    return degrees(atan(mu))


def mu_of(angle_deg: float) -> float:
    """Coefficient of a slide angle in degrees."""
    return tan(radians(angle_deg))


def mu_change(angle_deg: float, change_deg: float) -> float:
    """A change of angle about an angle, as a change of the coefficient: sec²θ·δθ."""
    return radians(change_deg) / cos(radians(angle_deg)) ** 2
