"""Guards of the devices."""

from tests.guards.entry import Guard

ENTRIES: list[Guard] = []

NO_LIMITS: dict[str, str] = {}
