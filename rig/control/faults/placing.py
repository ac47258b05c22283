"""Faults of the beam, the bag, and the blade that places it."""

from rig.control.faults.kinds import CHECK, Fault

PLACING: tuple[Fault, ...] = (
    Fault(
        "beam_broken_before_raise",
        "the beam is broken when the raise should begin",
        frozenset({"placing", "dwelling"}),
        "cut",
        "before the first pulse",
        "beam_fault",
        "Move the bag uphill, clear the beam, shade it from the sun. " + CHECK,
    ),
    Fault(
        "blade_unseen",
        "the beam does not see the blade pass",
        frozenset({"placing"}),
        "cut",
        "when the blade is past the beam by its steps",
        "beam_fault",
        "Check that the blade moves (its motor, driver, belts), and the beam (`rig check`). "
        + CHECK,
    ),
    Fault(
        "blade_stalled",
        "the beam stays broken where the blade should have cleared it",
        frozenset({"placing"}),
        "cut",
        "10 mm beyond that position the first time, 2 mm later",
        None,
        "Check whether something holds the blade or is in the beam; push it to its park position. "
        + CHECK,
    ),
    Fault(
        "blade_lost",
        "the blade meets the beam at the wrong position: steps lost, or not parked",
        frozenset({"placing"}),
        "cut",
        "after passing the beam, out and back",
        None,
        "Push the blade to its park position, check what may hold it, `blade.lead_mm` and"
        " `board.catch_mm`. " + CHECK,
    ),
    Fault(
        "blade_park",
        "the blade's park switch does not open at its position, or does not close away from it",
        frozenset({"placing"}),
        "cut",
        "5 mm beyond its expected position (its whole travel the first time), 8 mm before"
        " it, and on the way up 10 mm after it",
        None,
        "Check the switch, its wire, what may hold the blade, its motor and"
        " `pins.blade_uphill_is_high`. " + CHECK,
    ),
    Fault(
        "bag_missing",
        "the blade meets no bag, and none slides past the beam",
        frozenset({"placing"}),
        "cut",
        "when the board has been raised to its soft limit to bring it down",
        None,
        "Lay the bag against the parked blade; check whether it fell off or sticks to the board. "
        + CHECK,
    ),
    Fault(
        "bag_not_placed",
        "the blade fails to place the bag",
        frozenset({"placing"}),
        "cut",
        "after `blade.tries` pushes",
        None,
        "Lay the bag flat and straight against the parked blade. " + CHECK,
    ),
    Fault(
        "beam_flicker",
        "the beam flickers",
        frozenset({"placing", "dwelling", "raising", "sliding"}),
        "cut",
        "at the 12th edge within a second",
        "beam_fault",
        "Shade the receiver from the sun and lamps, aim it, check its wire. " + CHECK,
    ),
)
