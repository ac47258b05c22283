"""Weighings: is a bag in balance with the air, and did it keep something from its treatment."""

from datetime import datetime

from rig.quantities.figures import signed
from rig.study.folder.journal import Journal, Mass

BALANCE_G = 0.5
BALANCE_MIN = 30.0
"""A bag is in balance when its mass keeps within 0.5 g over 30 min."""
RECENT_MIN = 1440.0
"""A weighing longer ago says nothing about balance."""


def balance(journal: Journal, entry: Mass) -> str:
    """A sentence about the bag's balance with the air, from its weighings up to this one."""
    before = [
        mass
        for mass in journal.of(Mass)
        if mass.bag == entry.bag and mass.at <= entry.at and mass.line != entry.line
    ]
    if not before:
        return f"Weigh {entry.bag} again in {BALANCE_MIN:.0f} min to see whether it is in balance."
    change = ""
    for mass in reversed(before):
        minutes = _minutes(mass.at, entry.at)
        change = f"{entry.bag}: {signed(entry.mass_g - mass.mass_g, 1)} g in {_span(minutes)}"
        if minutes > RECENT_MIN:
            return f"{change}; residue, damp or lost fill. Weigh it again in {BALANCE_MIN:.0f} min."
        if minutes >= BALANCE_MIN:
            steady = abs(entry.mass_g - mass.mass_g) <= BALANCE_G
            return f"{change}: {'in balance' if steady else 'not in balance yet'}."
    return f"{change}, which is too short to tell; weigh it again later."


def _minutes(start: str, end: str) -> float:
    return (datetime.fromisoformat(end) - datetime.fromisoformat(start)).total_seconds() / 60.0


def _span(minutes: float) -> str:
    if minutes < 120.0:
        return f"{minutes:.0f} min"
    return f"{minutes / 60.0:.1f} h" if minutes < 2880.0 else f"{minutes / 1440.0:.0f} days"
