"""States of the machine and the allowed transitions between them."""

from typing import get_args

from rig.runfile.model import State

ALLOWED: dict[State, frozenset[State]] = {
    "parked": frozenset({"homing"}),
    "homing": frozenset({"placing"}),
    "placing": frozenset({"dwelling"}),
    "dwelling": frozenset({"raising"}),
    "raising": frozenset({"sliding", "lowering"}),
    "sliding": frozenset({"raising", "lowering"}),
    "lowering": frozenset({"parked"}),
    "halted": frozenset({"homing"}),
}
"""`halted` is allowed from every state as well; the only way out is a new homing."""

BY_HAND: dict[State, frozenset[State]] = {
    **ALLOWED,
    "parked": frozenset({"placing"}),
    "halted": frozenset({"placing"}),
}
"""The same where a person raises the board: there is nothing to home."""

STATES: tuple[State, ...] = get_args(State)

MOVING: frozenset[State] = frozenset({"homing", "placing", "raising", "sliding", "lowering"})
"""States in which a driver may be enabled; in `placing` only where a blade is fitted."""


def check_transition(
    old: State, new: State, allowed: dict[State, frozenset[State]] = ALLOWED
) -> None:
    """Raise RuntimeError, a mistake in the program, if `old` must not be followed by `new`."""
    if new != "halted" and new not in allowed[old]:
        raise RuntimeError(f"the machine may not go from {old!r} to {new!r}")
