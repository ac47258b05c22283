"""A twin in real time behind a page, in this process: tests press its buttons and see its world."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import msgspec

from rig.clock import RealClock
from rig.control.mover import StoppedError
from rig.control.stop import StopRequest
from rig.opening import OpenRig, open_twin
from rig.panel.setup import Served, serve_panel
from rig.procedures.series.cut_runs import how_it_ended
from rig.procedures.series.log import SeriesLog
from rig.settings.model import Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import Face

WAIT_S = 60.0
"""For what takes a second or two on a machine with nothing else to do."""
LOW = Face(mu_static_dry=0.075, mu_kinetic_dry=0.05, humidity_gain=0.0)
"""Slides early, so that a run takes few seconds."""
STRONG = {"pull_out_hz": 1e6, "pull_in_hz": 1e6}
"""A motor that forgives pulses in bunches, as a busy computer makes them."""


def quick_settings(late_pulse_ms: float = 5000.0) -> Settings:
    """Short waits, and limits wide enough for a busy computer."""
    settings = Settings()
    replace = msgspec.structs.replace
    return replace(
        settings,
        name="the rig in the test",
        motion=replace(settings.motion, homing_rate_deg_s=1.5, lowering_rate_deg_s=1.5),
        cycle=replace(settings.cycle, dwell_s=0.3, clear_timeout_s=1.0),
        interlocks=replace(
            settings.interlocks,
            late_pulse_ms=late_pulse_ms,
            imu_silence_s=10.0,
            angle_mismatch_deg=5.0,
        ),
    )


class Rig:
    """A twin that is being served."""

    def __init__(self, opened: OpenRig, folder: Path, said: list[str]) -> None:
        self.opened = opened
        self.machine = opened.machine
        self.folder = folder
        self.said = said
        self.served: Served
        self.error: BaseException | None = None

    @property
    def world(self) -> Any:
        assert self.opened.twin is not None
        return self.opened.twin.world

    @property
    def port(self) -> int:
        return self.served.server.port

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/"

    def code_after(self, old: str = "") -> str:
        """The pairing code that is shown once `old` is void.

        The server's own process makes the codes: one counts a moment before this process shows it.
        """

        def shown() -> str:
            return next((line[-9:] for line in reversed(self.said) if "ode" in line), old)

        wait_for(lambda: shown() != old, "another code")
        return shown()

    @property
    def state(self) -> str:
        return self.machine.live.state

    def emergency_stop(self, is_down: bool) -> None:
        self.world.press("emergency_stop", is_down)

    def outcomes(self) -> list[str]:
        """How the runs ended, in order."""
        files = sorted(self.folder.rglob("*.run.jsonl"))
        return [how_it_ended(file).outcome or "no end" for file in files]


def wait_for(what: Callable[[], Any], why: str, seconds: float = WAIT_S) -> Any:
    """Wait until `what` gives something true, and give it back."""
    clock = RealClock()
    end_s = clock.time_s() + seconds
    while not (value := what()):
        assert clock.time_s() < end_s, f"waited in vain for: {why}"
        clock.pause_s(0.02)
    return value


@contextmanager
def served_rig(
    folder: Path,
    *,
    is_open: bool = False,
    port: int = 0,
    settings: Settings | None = None,
    presses: bool = False,
    study: Path | None = None,
) -> Iterator[Rig]:
    """Serve a twin in threads of this process until the block ends."""
    scenario = changed(draw_scenario(3, face=LOW), board=STRONG)
    opened = open_twin(settings or quick_settings(), scenario, seed=3, speed="real")
    said: list[str] = []
    rig = Rig(opened, folder, said)
    with SeriesLog(folder) as log, opened:
        rig.served = serve_panel(
            opened, log, port=port, is_open=is_open, announce=said.append, study=study
        )
        with rig.served.server:
            thread = threading.Thread(target=_serve, args=(rig, presses), name="machine")
            thread.start()
            try:
                wait_for(lambda: _answers(rig.port), "the page")
                yield rig
            finally:
                opened.machine.events.put(StopRequest("SIGTERM", ends_program=True))
                thread.join(WAIT_S)
                assert not thread.is_alive()
                if rig.error is not None:
                    raise rig.error


def _answers(port: int) -> bool:
    """Whether the page has something to show."""
    connection = HTTPConnection("127.0.0.1", port, timeout=WAIT_S)
    try:
        connection.request("GET", "/snapshot")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()


def _serve(rig: Rig, presses: bool) -> None:
    try:
        beside = [rig.served.viewer.follow()]
        rig.opened.run(rig.served.desk.serve(), beside=beside, presses=presses)
    except StoppedError:
        pass
    except BaseException as error:
        rig.error = error
