"""Check with a level on the board at home whether the floor or the sensor moved."""

from pathlib import Path

import numpy as np

from rig.calibration.apply import along_slope_deg, cross_slope_deg, gravity_g, u_inclination_deg
from rig.calibration.home import HomeCheck, check_home, save_home_check
from rig.calibration.reference import turned_level
from rig.clock import At, Task
from rig.control.homing import home
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.errors import BadInputError
from rig.files.stamps import utc_text
from rig.procedures.level.by_hand import bring_to
from rig.procedures.level.person import LevelPerson, Where
from rig.procedures.level.steadiness import steady_rest
from rig.procedures.runs import FIRST_LOOK_S, start_watching


def level_check(
    machine: Machine, person: LevelPerson, folder: Path, resolution_deg: float
) -> Task[HomeCheck]:
    """Task: home, read the sensor and the level, and keep the readings if they agree.

    Raises:
        BadInputError: there is no calibration, or the sensor has moved.
    """
    calibration = machine.calibration
    if calibration is None:
        raise BadInputError("There is no calibration to check; make one with `rig level`.")
    watchers = start_watching(machine)
    mover = Mover(machine)
    try:
        yield At(machine.clock.time_s() + FIRST_LOOK_S)
        if machine.has_motor:
            machine.enter("homing")
            yield from home(mover, machine)
            machine.stepper.disable()
        else:
            yield from bring_to(machine, mover, 0.0)
        machine.enter("parked")
        rest = yield from steady_rest(machine, mover, "home")
    finally:
        machine.stepper.disable()
        for watcher in watchers:
            watcher.cancel()
    gravity = gravity_g(calibration, rest.counts, rest.temperature_c)
    wheres: tuple[Where, ...] = ("along", "across")
    found = [
        turned_level(
            person.level_deg(where, False),
            person.level_deg(where, True),
            resolution_deg=resolution_deg,
            where=where,
        )
        for where in wheres
    ]
    check = check_home(
        calibration,
        (
            float(along_slope_deg(calibration, gravity)),
            float(cross_slope_deg(calibration, gravity)),
        ),
        found[0],
        found[1],
        float(np.hypot(*u_inclination_deg(calibration, gravity))),
        utc_text(machine.clock.utc_now()),
    )
    save_home_check(folder, check)
    machine.home_check = check
    return check
