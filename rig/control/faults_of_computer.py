"""Faults of the computer and its disk."""

from rig.control.fault_kinds import ALL, CHECK, Fault
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
        "the program was stopped for more than 0.5 s and continued (Ctrl-Z, a debugger)",
        ALL,
        "cut",
        "as soon as it is continued",
        None,
        "Nothing is wrong with the rig; let the program run, and start again. " + CHECK,
    ),
    Fault(
        "edges_lost",
        "an edge of an input could not be taken over",
        ALL,
        "cut",
        "at the next look, within 50 ms",
        "beam_fault",
        "Start again; if it comes back, restart the computer.",
    ),
    Fault(
        "disk",
        "the run file cannot be written",
        ALL,
        "cut",
        "at the first write that fails",
        None,
        "Free space, or change the disk or the folder (--out); what still lies there is kept.",
    ),
    Fault(
        "disk_nearly_full",
        "less than `interlocks.min_free_mb` is free",
        ALL,
        "last_run",
        "within 2 s; before the first run it is refused",
        None,
        "Free some space, or choose another folder with --out.",
    ),
    Fault(
        "clock_jump",
        "wall time and monotonic time went apart: the computer slept, or its clock was set",
        MOVING,
        "cut",
        "within 2 s, beyond 5 s of difference",
        None,
        "Keep the computer from sleeping, and let its clock be set before a series. " + CHECK,
    ),
    Fault(
        "low_supply",
        "the computer reports that its own supply is too low",
        ALL,
        "cut",
        "within 2 s of its report",
        None,
        "Use the supply that the computer's maker asks for, and a short thick cable. " + CHECK,
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
