"""Guards of what a person starts."""

from tests.guards.entry import Guard

ENTRIES: list[Guard] = []

NO_LIMITS: dict[str, str] = {}
