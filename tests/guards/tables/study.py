"""Guards of the study's files."""

from tests.guards.entry import Guard

ENTRIES: list[Guard] = []

NO_LIMITS: dict[str, str] = {}
