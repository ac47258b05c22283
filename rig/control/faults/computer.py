"""Faults of the computer and its disk."""

from rig.control.faults.kinds import ALL, CHECK, Fault
from rig.control.states import MOVING

COMPUTER: tuple[Fault, ...] = (
    Fault(
        "control_silent",
        "the control loop hangs while pulses are made",
        MOVING,
        "cut",
        "before the next pulse, 2 s after its last sign of life",
        None,
        "Look for a slow disk or a busy computer (`rig check --timing`). " + CHECK,
    ),
    Fault(
        "suspended",
        "the program was suspended for more than 0.5 s and continued (Ctrl-Z, a debugger)",
        ALL - {"parked"},
        "cut",
        "as soon as it continues",
        None,
        "Nothing is wrong with the rig; do not suspend the program. " + CHECK,
    ),
    Fault(
        "edges_lost",
        "an edge of an input could not be handled",
        ALL,
        "cut",
        "at the next check, within 50 ms",
        "beam_fault",
        "Start again; if it recurs, restart the computer.",
    ),
    Fault(
        "disk",
        "the run file cannot be written",
        ALL,
        "cut",
        "at the first failed write",
        None,
        "Free space, or change the disk or the folder (--out); lines already written are kept.",
    ),
    Fault(
        "disk_nearly_full",
        "less than `interlocks.min_free_mb` is free",
        ALL,
        "last_run",
        "within 2 s; before the first run: refused",
        None,
        "Free some space, or choose another folder with --out.",
    ),
    Fault(
        "clock_jump",
        "wall time and monotonic time diverged: the computer slept, or its clock was set",
        MOVING,
        "cut",
        "within 2 s, beyond a difference of 5 s",
        None,
        "Keep the computer from sleeping, and have its clock set before a series. " + CHECK,
    ),
    Fault(
        "low_supply",
        "the computer reports that its supply voltage is too low",
        ALL,
        "cut",
        "within 2 s of its report",
        None,
        "Use the supply specified by the computer's maker, and a short thick cable. " + CHECK,
    ),
    Fault(
        "busy",
        "another process uses this rig",
        frozenset({"parked"}),
        "refuse",
        "when the rig is opened",
        None,
        "End the other one first, or wait for it.",
    ),
)
