"""Consecutive runs on one opened machine, each in a file of its own."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from rig.calibration.file import check_fit
from rig.clock import At, Done, Handle, Task
from rig.control.blade.placing import placing_for
from rig.control.cycle import Cycle
from rig.control.hand_cycle import HandCycle
from rig.control.machine import Machine
from rig.control.mover import stopped_by
from rig.control.placing import Placing
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.control.stop import StopRequest
from rig.errors import BadInputError
from rig.files.stamps import utc_text
from rig.procedures.header import check_free_space, make_header
from rig.runfile.model import Flag, Outcome
from rig.runfile.writer import RunWriter, new_run_id, run_folder, run_path

FIRST_LOOK_S = 0.3
LAST_LOOK_S = 2.0
"""Upper bound for the duration of a reading, retries included."""


NEXT = {
    "hand": "The board homes next: keep clear. Then put the bag back and press start.",
    "blade": "The next run begins within seconds, by itself: keep clear.",
}
"""Announcement after each run but the last, by the way the bag is placed."""

NEXT_BY_HAND = "Put the bag back with the board flat, then press start."

NEXT_SERIES = "The board homes next: keep clear. Then put the next bag on and press start."
NEXT_SERIES_BY_HAND = "Put the next bag on with the board flat, then press start."
"""Announcements where another series follows at once."""


class MadeRun(NamedTuple):
    """A run that came to its end."""

    path: Path
    outcome: Outcome
    pushes: int = 0
    brought_down: int = 0


Before = Callable[[RunRequest], Task[RunRequest]]


def make_runs(
    machine: Machine,
    requests: Iterable[RunRequest],
    folder: Path,
    *,
    start_now: bool,
    placing: Placing | None = None,
    before: Before | None = None,
    on_begin: Callable[[RunRequest, Path], None] = lambda *_: None,
    on_end: Callable[[MadeRun], str | None] = lambda _: None,
    is_last: bool = True,
) -> Task[list[MadeRun]]:
    """Task: make the runs one after the other.

    Args:
        machine: opened.
        requests: one for each run.
        folder: for the run files, in a folder per day.
        start_now: the first run does not wait for the start button; the bag is in place.
        placing: puts the bag back; by default the blade where one is fitted, else a person.
        before: task to wait for before each run; may change the request.
        on_begin: called before each run with its request and the path of its file.
        on_end: called after each completed run; returning a reason ends the series there, in
            order.
        is_last: nothing follows; otherwise another series begins at once, with another bag.

    Raises:
        BadInputError: no calibration, one of another sensor or past due, too little free space,
            or the folder cannot be written.
        StoppedError, MachineFaultError: from the run in which it happened.
    """
    if machine.calibration is None:
        raise BadInputError(
            "This rig has no calibration of its angle sensor, so no angle would mean anything;"
            " make one with `rig level`."
        )
    _calibration_flags(machine)
    placing = placing or placing_for(machine, is_ready=start_now)
    _forget_old_events(machine)
    machine.host.folder = folder
    watchers = start_watching(machine)
    made: list[MadeRun] = []
    then = ""
    if not is_last:
        then = NEXT_SERIES if machine.has_motor else NEXT_SERIES_BY_HAND
    try:
        yield At(machine.clock.time_s() + FIRST_LOOK_S)
        asked = list(requests)
        for n_left, request in zip(range(len(asked) - 1, -1, -1), asked, strict=True):
            after = NEXT[placing.kind] if machine.has_motor else NEXT_BY_HAND
            machine.comes_next = after if n_left else then
            if machine.last_run_reason is not None:
                raise machine.last_run_reason
            if before is not None:
                request = yield from before(request)
            run = yield from _one_run(machine, request, folder, placing, on_begin)
            made.append(run)
            if on_end(run):
                break
    finally:
        machine.comes_next = ""
        yield from stop_watching(machine, watchers)
    if machine.live.state == "parked" and machine.live.wants != then:
        machine.comes_next = then  # a rule ended the series: no other run of it follows
        machine.enter("parked")
        machine.comes_next = ""
    return made


def _forget_old_events(machine: Machine) -> None:
    """Discard old edges and ends of tasks, but no stop request."""
    kept = []
    while (item := machine.events.get_nowait()) is not None:
        if isinstance(item, StopRequest):
            kept.append(item)
    for item in kept:
        machine.events.put(item)


def _calibration_flags(machine: Machine) -> tuple[Flag, ...]:
    """Refuse another sensor's calibration, and an overdue one unless allowed."""
    assert machine.calibration is not None  # noqa: S101 - runs are refused without one
    now = machine.clock.utc_now()
    identity, overdue_ok = machine.imu.identity, machine.allow_overdue
    return check_fit(machine.calibration, identity, now, allow_overdue=overdue_ok)


def start_watching(machine: Machine) -> list[Handle[None]]:
    """Start the tasks that keep reading angle and climate; their errors come as events."""
    return [
        machine.clock.spawn(machine.watch_angle(), "angle", report_to=machine.events),
        machine.clock.spawn(machine.watch_climate(), "climate", report_to=machine.events),
        machine.clock.spawn(machine.lamp.blink(), "lamp", report_to=machine.events),
    ]


def stop_watching(machine: Machine, watchers: Iterable[Handle[None]]) -> Task[None]:
    """Task: end the tasks of `start_watching`, and wait until each has released its sensor.

    Their errors were already reported as events.
    """
    for watcher in watchers:
        watcher.cancel()
    for watcher in watchers:
        with suppress(Exception):
            yield from watcher.join(machine.clock.time_s() + LAST_LOOK_S)


def raise_failures(machine: Machine) -> None:
    """Empty the machine's events, for tasks that only watch, and raise what ends them.

    Raises:
        StoppedError: a stop was requested.
        Exception: of a watching task.
    """
    while (item := machine.events.get_nowait()) is not None:
        if isinstance(item, StopRequest):
            raise stopped_by(item)
        if isinstance(item, Done) and item.error is not None:
            raise item.error


def _one_run(
    machine: Machine,
    request: RunRequest,
    folder: Path,
    placing: Placing,
    on_begin: Callable[[RunRequest, Path], None],
) -> Task[MadeRun]:
    clock = machine.clock
    utc = clock.utc_now()
    check_free_space(folder, machine.settings.interlocks.min_free_mb)
    run_id = new_run_id(utc)
    path = run_path(run_folder(folder, utc), run_id)
    started_at = utc_text(utc, "milliseconds")
    on_begin(request, path)
    writer = RunWriter(path, make_header(machine, request, run_id, started_at, placing.kind))
    idle_hz = machine.settings.cycle.idle_sample_rate_hz
    recorder = Recorder(writer, clock.time_s(), idle_hz, by_hand=not machine.has_motor)
    for flag in _calibration_flags(machine):
        recorder.flag(flag)
    if request.settling:
        recorder.flag("settling")
    made_by = Cycle if machine.has_motor else HandCycle
    cycle = made_by(machine, request, recorder, placing)
    outcome = yield from cycle.run()
    return MadeRun(path, outcome, cycle.pushes, cycle.brought_down)
