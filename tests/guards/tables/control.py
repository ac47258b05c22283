"""Guards of the machine's control."""

from tests.guards.entry import Guard

ENTRIES: list[Guard] = []

NO_LIMITS: dict[str, str] = {}
