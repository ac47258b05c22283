"""What can break of the blade, and of what it does with bag and beam."""

# fmt: off

from tests.faults import injections as do
from tests.faults.harness import AWAY, BLADE, FOLDS, NO_SWITCH, Fault, hold, toggling

UP, BEAM, TOP = "placing up", "placing beam", "placing top"
BACK, TILT = "placing back", "placing tilt"
HOME_S = 6.0
"""The board is homed before the blade moves."""
WAY_S = 11.0
"""The blade needs this long from its park place to where it must have left the beam."""
SEEN_S = {"parked": HOME_S + WAY_S, UP: WAY_S, BEAM: 2.0, BACK: WAY_S}
"""What is wrong with the blade or the beam shows at the latest where the blade meets the beam, or
where it parks."""
LOST = ("blade_unseen", "blade_stalled", "blade_lost", "blade_park")


def _causes(*names: str) -> frozenset[str]:
    return frozenset(names)


BLADE_FAULTS: tuple[Fault, ...] = (
    Fault("blade's step wire broken, or blade held fast", do.blade_step_wire,
          ("parked", UP, BEAM, BACK), _causes(*LOST), SEEN_S, bench=BLADE),
    Fault("blade's enable wire broken", do.blade_enable_wire, ("parked", UP, BEAM, BACK),
          _causes(*LOST), SEEN_S, bench=BLADE),
    Fault("blade's direction wire broken", do.blade_direction_wire, ("parked", UP, BEAM),
          _causes(*LOST), SEEN_S, bench=BLADE),
    Fault("blade's motor loses every other step", do.blade_loses_half, ("parked", UP, BACK),
          _causes(*LOST), SEEN_S, bench=BLADE),
    Fault("blade's belt slips by 20 mm", do.blade_slips(20.0), (UP, BACK), _causes(*LOST),
          SEEN_S, bench=BLADE),
    Fault("blade's belt slips by 4 mm", do.blade_slips(4.0), (TOP,), _causes("blade_lost"),
          WAY_S + 4.0, bench=BLADE),
    Fault("blade below its park place, no switch there", do.blade_slips(20.0), ("parked",),
          _causes("blade_stalled"), SEEN_S, bench=NO_SWITCH),
    Fault("blade above its park place, no switch there", do.nothing, ("parked",),
          _causes("blade_lost"), SEEN_S, bench=AWAY),
    Fault("blade's park switch: wire broken", lambda c: hold(c, "blade_park", True),
          ("parked", BACK), _causes("blade_park"), SEEN_S, bench=BLADE),
    Fault("blade's park switch never opens", lambda c: hold(c, "blade_park", False),
          ("parked", UP, BACK), _causes("blade_park"),
          {"parked": HOME_S + 83.0, UP: 2.0 * WAY_S + 5.0, BACK: WAY_S}, bench=BLADE),
    Fault("blade's park switch opens for 3 ms", do.park_glitch, (UP, BACK), _causes(),
          ending="rides through", bench=BLADE),
    Fault("beam's wire broken, with a blade", lambda c: hold(c, "beam_1", True),
          ("parked", UP, BACK, TILT), _causes("blade_stalled"),
          SEEN_S | {BACK: 2.0 * WAY_S, TILT: 5.0 + WAY_S}, bench=BLADE),
    Fault("beam's receiver dead, with a blade", lambda c: hold(c, "beam_1", False),
          ("parked", UP, BEAM), _causes("blade_unseen"), SEEN_S,
          bench=BLADE),
    Fault("beam flickers, with a blade", lambda c: toggling(c, "beam_1", 0.02),
          (UP, BEAM, BACK, TILT), _causes("beam_flicker"),
          {UP: 0.3, BEAM: 0.5, BACK: 0.3, TILT: 0.3}, bench=BLADE),
    Fault("computer busy for 60 ms while the blade moves", do.late_blade, (UP, BEAM, BACK),
          _causes("late_pulse"), 0.06, bench=BLADE),
    Fault("blade's pulses hang", do.blade_pulses_hang, ("parked",), _causes("over_time"), 60.0,
          bench=BLADE),
    Fault("bag taken away from the blade", do.bag_taken, ("parked", UP), _causes("bag_missing"),
          75.0, bench=BLADE),
    Fault("bag folds at each push", do.nothing, ("parked",), _causes("bag_not_placed"), 300.0,
          bench=FOLDS),
    Fault("motor without current while the bag is brought down", do.motor_dead, (TILT,),
          _causes("no_progress", "limit_lower_stuck"), 1.5, bench=FOLDS),
    Fault("motor loses every other step while the bag is brought down", do.loses_half, (TILT,),
          _causes("angle_mismatch", "no_progress"), 1.7, bench=FOLDS),
)
"""Every fault with the states, and the parts of `placing`, in which it can happen."""
