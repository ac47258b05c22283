"""The application with a study, without a server: whoever asks, asks it directly."""

import asyncio
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from rig.errors import BadInputError
from rig.panel.app import Panel
from rig.panel.guard import LOCAL_NAMES, Guard
from rig.panel.link import Asker
from rig.panel.study.answers import Enquiry
from rig.panel.study.book import Book
from rig.panel.study.doors import Doors
from rig.panel.study.pages import StudyPages
from rig.panel.study.thinker import Thinker
from rig.study.folder.journal import Entry, Journal
from rig.study.folder.study import open_study
from tests.panel.paper import COOKIE, Near, Stand

ANSWER: dict[str, Any] = {
    "error": "",
    "as_of": "2026-05-30T10:00:00Z",
    "first": "Use Harbour 2, grip.",
    "pick": ["Harbour 2", "grip"],
    "scatter": {"run_deg": 0.3, "series_deg": 0.2, "session_deg": 0.3, "response_deg": 0.3},
    "bags": [
        {"bag": bag, "face": "grip", "angle_deg": angle, "lower_deg": angle - 0.5,
         "upper_deg": angle + 0.5, "target_deg": 24.0, "tolerance_deg": 0.8}
        for bag, angle in (("Harbour 1", 25.0), ("Harbour 2", 24.0))
    ],
}  # fmt: skip


class Ready(Thinker):
    """Has its answer already."""

    def __init__(self) -> None:
        super().__init__(Path())
        self.answer = ANSWER
        self.asked: list[Enquiry] = []

    def want(self, study_version: str) -> None:
        """Nothing is to be worked out."""

    async def ask(self, wanted: Enquiry) -> dict[str, Any]:
        self.asked.append(wanted)
        if wanted.board == "moon":
            raise BadInputError("There is no such board.")
        return ANSWER


class StudyStand(Stand):
    """Its doors are open; close its runner in the end.

    Args:
        folder: of the study.
        has_rig: whether series can be asked for.
    """

    def __init__(self, folder: Path, *, has_rig: bool = False) -> None:
        super().__init__()
        self.runner.close()
        self.runner = asyncio.Runner()
        self.folder = folder
        self.now = datetime.now(UTC)
        self.thinker = Ready()
        self.book = Book(folder, by_hand=not has_rig, utc_now=lambda: self.now)
        desk: Asker | None = self.desk if has_rig else None
        guard = Guard(LOCAL_NAMES, any_address=False)

        def pages(doors: Doors) -> StudyPages:
            return StudyPages(self.book, self.thinker, self.seats, doors, desk)

        if not has_rig:
            self.hub.latest = None
        self.app = Panel(desk, self.hub, self.seats, guard, COOKIE, study=pages).application()
        self.controller: Near = self.client(paired=True)

    def wait(self, **time: float) -> None:
        """Let time pass for the server."""
        self.now += timedelta(**time)

    @property
    def journal(self) -> Journal:
        return open_study(self.folder).journal

    @property
    def lines(self) -> list[Entry]:
        """Those that count."""
        return list(self.journal.standing())
