"""A rig that is none, behind a command: what it was asked for, and tasks without a clock."""

from datetime import UTC, datetime
from queue import SimpleQueue
from types import SimpleNamespace as Made
from typing import Any

from rig.settings.model import Settings

NOW = datetime(2026, 10, 1, 8, 0, tzinfo=UTC)


class Opened:
    """Stands for a rig: notes how it was opened and runs tasks without any clock."""

    def __init__(self) -> None:
        self.asked: dict[str, Any] = {}
        self.is_open = False
        self.time_s = 0.0
        self.source = "twin"
        self.notes: list[str] = []
        self.machine: Any = Made(
            has_motor=True,
            settings=Settings(),
            clock=Made(utc_now=lambda: NOW, time_s=lambda: self.time_s),
            allow_overdue=None,
            live=Made(
                state="raising",
                wants="",
                angle_deg=12.34,
                temperature_c=None,
                relative_humidity_pct=None,
            ),
            events=SimpleQueue(),
            continued=lambda: None,
        )

    def __call__(self, settings: Any, **asked: Any) -> "Opened":
        self.asked = asked
        return self

    def __enter__(self) -> "Opened":
        self.is_open = True
        return self

    def __exit__(self, *_: object) -> None:
        self.is_open = False

    def run(self, task: Any, beside: Any = (), *, presses: bool = True) -> Any:
        assert self.is_open
        while True:
            try:
                self.time_s = max(self.time_s, getattr(next(task), "time_s", 0.0))
            except StopIteration as end:
                return end.value
