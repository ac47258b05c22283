"""A desk on the twin in virtual time, and what people do there."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.clock import At, Task
from rig.control.mover import StoppedError
from rig.control.stop import StopRequest
from rig.opening import OpenRig, open_twin
from rig.panel.desk import Desk, SeriesWish
from rig.panel.form import SeriesForm, requests_of
from rig.panel.view import Snapshot, Viewer
from rig.procedures.series.cut_runs import how_it_ended
from rig.procedures.series.log import SeriesLog, SeriesOptions
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import Face
from tests.panel.paper import NOW

FACE = Face(mu_static_dry=0.2, mu_kinetic_dry=0.15, humidity_gain=0.0)


class Story:
    """A desk on a twin; `script` is what people do."""

    def __init__(self, folder: Path, seed: int = 3) -> None:
        self.folder = folder
        self.opened: OpenRig = open_twin(Settings(), draw_scenario(seed, face=FACE), seed)
        self.machine = self.opened.machine
        self.seen: list[Snapshot] = []
        self.said: list[str] = []
        self.helps = True
        """Somebody presses start on the page where that is waited for."""
        self._asked_s: float | None = None
        self.desk: Desk

    def tell(self, script: Callable[["Story"], Task[None]]) -> "Story":
        """Serve until the script is over."""
        failed: list[Exception] = []

        def end() -> Task[None]:
            try:
                yield from script(self)
            except Exception as error:  # whatever it is, the desk must not wait for the script
                failed.append(error)
            self.machine.events.put(StopRequest("SIGTERM", ends_program=True))

        with SeriesLog(self.folder) as log, self.opened:
            viewer = Viewer(self.machine, self.seen.append, period_s=0.25)
            self.desk = Desk(self.opened, log, viewer, self.said.append)
            with pytest.raises(StoppedError, match="SIGTERM"):
                self.opened.run(self.desk.serve(), [viewer.follow(), end()], presses=False)
        for error in failed:
            raise error
        return self

    @property
    def now(self) -> Snapshot:
        return self.seen[-1]

    def until(self, is_so: Callable[[Snapshot], Any], limit_s: float = 400.0) -> Task[None]:
        """Wait until a snapshot is as it should be."""
        end_s = self.machine.clock.time_s() + limit_s
        while not (self.seen and is_so(self.now)):
            assert self.machine.clock.time_s() < end_s, f"never came: {self.now}"
            self._help()
            yield At(self.machine.clock.time_s() + 0.1)

    def _help(self) -> None:
        if not (self.helps and self.seen and self.now.waits_for_start):
            self._asked_s = None
        elif self._asked_s is None:
            self._asked_s = self.now.time_s
        elif self.now.time_s - self._asked_s > 4.0:
            self.desk.start()

    def wait(self, seconds: float) -> Task[None]:
        yield At(self.machine.clock.time_s() + seconds)

    def series(self, runs: int, is_ready: bool = True) -> None:
        form = SeriesForm(runs=str(runs), bag="Heron 1", face="slick")
        requests = requests_of(form, self.machine.settings, "twin", NOW)
        self.desk.wish(SeriesWish(requests, SeriesOptions(), is_ready))

    def press(self, button: str, down: bool) -> None:
        assert self.opened.twin is not None
        self.opened.twin.world.press(button, down)

    @property
    def outcomes(self) -> list[str | None]:
        return [how_it_ended(f).outcome for f in sorted(self.folder.rglob("*.run.jsonl"))]


def idle(snap: Snapshot) -> bool:
    return not snap.is_busy


def busy(snap: Snapshot) -> bool:
    return snap.is_busy
