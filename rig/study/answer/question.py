"""What is asked: the air, the board, and the slide angle that is wanted of each face."""

from collections.abc import Mapping
from math import atan, degrees

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from rig.errors import BadInputError
from rig.study.answer.answer import DayAir, FaceTarget
from rig.study.folder.catalogue import Catalogue
from rig.study.model import posterior as model
from rig.study.model.draws import Draws

F = NDArray[np.float64]


class Aim(Struct, frozen=True, kw_only=True):
    """A wanted slide angle; a bag that is to be matched gives a value for each draw."""

    angle_deg: float
    tolerance_deg: float
    each_deg: F | None = None

    @property
    def draws_deg(self) -> F | float:
        """To be compared with draws of an angle."""
        return self.angle_deg if self.each_deg is None else self.each_deg


class Question(Struct, frozen=True, kw_only=True):
    """One air, one board or each bag's usual one, and targets by face."""

    air: DayAir
    damp: float = model.Air().damp
    """Whence the bags come: 0 from dry air, 1 from damp."""
    board: str | None = None
    targets: Mapping[str, Aim] = {}
    may_pass: float = 0.10
    """Chance of passing the target that a further application may have."""

    @property
    def model_air(self) -> model.Air:
        """The air as the model takes it."""
        temperature_c = self.air.temperature_c
        return model.Air(
            self.air.surface_humidity_pct,
            model.Air().temperature_c if temperature_c is None else temperature_c,
            self.damp,
        )

    @property
    def face_targets(self) -> tuple[FaceTarget, ...]:
        """As the answer lists them."""
        return tuple(
            FaceTarget(face=face, angle_deg=one.angle_deg, tolerance_deg=one.tolerance_deg)
            for face, one in sorted(self.targets.items())
        )


def targets_of(catalogue: Catalogue) -> dict[str, Aim]:
    """The study's targets: a face's own, else the older wish for every face."""
    faces = sorted({face for bag in catalogue.bags.values() for face in bag.faces})
    own = {face: catalogue.targets.get(face) for face in faces}
    wish = catalogue.preferences.wish_angle_deg
    if wish is None and catalogue.preferences.wish_mu_static is not None:
        wish = degrees(atan(catalogue.preferences.wish_mu_static))
    found = {}
    for face, target in own.items():
        if target is not None:
            found[face] = Aim(angle_deg=target.angle_deg, tolerance_deg=target.tolerance_deg)
        elif wish is not None:
            tolerance_deg = catalogue.preferences.tolerance_deg
            found[face] = Aim(angle_deg=wish, tolerance_deg=tolerance_deg)
    return found


def target_like(
    draws: Draws, bag: str, face: str, board: str | None, air: model.Air, tolerance_deg: float
) -> Aim:
    """To slide like a bag's face on a board in some air.

    Raises:
        BadInputError: that face has not been measured.
    """
    if (bag, face) not in draws.bag_faces:
        raise BadInputError(f"{bag}, {face}, has no slide that counts; name a measured bag face.")
    each = draws.angle(bag, face, board, air)
    return Aim(angle_deg=float(np.median(each)), tolerance_deg=tolerance_deg, each_deg=each)
