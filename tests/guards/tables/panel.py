"""Guards of the page on the rig."""

from tests.guards.entry import Guard

ENTRIES: list[Guard] = []

NO_LIMITS: dict[str, str] = {}
