"""Makes short runs on the twin, lets a fault happen in a chosen state, looks at what follows."""

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from rig.analysis.friction import analyse_run
from rig.clock import At, Task
from rig.control.faults.table import BY_CAUSE, FAULTS
from rig.errors import MachineFaultError, RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import RunFile, read_run
from rig.runfile.writer import OsFiles
from rig.settings.model import Blade, CycleSettings, MotionSettings, Pins, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Scenario
from tests.twin_of import twin_of

SETTINGS = Settings(
    cycle=CycleSettings(dwell_s=0.5, placing_timeout_s=20.0),
    motion=MotionSettings(rate_deg_s=3.0, homing_rate_deg_s=2.0),
)
SCENARIO = changed(draw_scenario(3, face=plain_face(0.12, 0.09)), board={"start_angle_deg": 1.6})
BLADE_SETTINGS = Settings(
    pins=Pins(blade_step=13, blade_direction=19, blade_enable=21, blade_park=4),
    blade=Blade(
        fitted=True,
        speed_mm_s=30.0,
        acceleration_mm_s2=300.0,
        ramp_jerk_mm_s3=6000.0,
        settle_deg=4.0,
    ),
    cycle=SETTINGS.cycle,
    motion=SETTINGS.motion,
)


class Bench(NamedTuple):
    """A rig that faults happen to."""

    settings: Settings
    scenario: Scenario
    start_now: bool
    """Nobody is asked for the bag before the first run."""


HAND = Bench(SETTINGS, SCENARIO, start_now=False)
HAND_NOW = HAND._replace(start_now=True)
BLADE = Bench(BLADE_SETTINGS, changed(SCENARIO, blade={"fold_share": 0.0}), start_now=True)
FOLDS = BLADE._replace(scenario=changed(SCENARIO, blade={"fold_share": 1.0}))
"""The bag folds at each push, so that the board is raised to bring it down again."""
NO_SWITCH = BLADE._replace(
    settings=msgspec.structs.replace(
        BLADE_SETTINGS, pins=msgspec.structs.replace(BLADE_SETTINGS.pins, blade_park=None)
    )
)
AWAY = NO_SWITCH._replace(scenario=changed(BLADE.scenario, blade={"start_mm": 25.0}))
PLACES: dict[str, Callable[[Any], bool]] = {
    "up": lambda world: world.pusher.body.place_mm > 370.0,
    "beam": lambda world: world.pusher.body.place_mm > 591.0,
    "top": lambda world: world.pusher.body.direction < 0 and world.pusher.body.place_mm > 595.0,
    "back": lambda world: (
        world.pusher.body.direction < 0 and 400.0 < world.pusher.body.place_mm < 450.0
    ),
    "tilt": lambda world: world.motor.is_enabled and world.motor.angle_deg > 0.3,
}
"""Parts of `placing` with a blade: `placing up` and so on are states of their own here."""
SLACK_S = 0.05
"""No pulse comes later than this after a fault can be seen."""
LOOK_S = 0.004
AFTER_S = {"homing": 0.8, "placing": 0.004, "dwelling": 0.2, "raising": 0.5, "sliding": 0.02}
"""How long after the state begins the fault happens."""


class Injected:
    """The rig under test, what was done to it, and when."""

    def __init__(self, rig: OpenRig, folder: Path) -> None:
        self.rig = rig
        self.folder = folder
        self.at_s: float | None = None
        self.in_state = ""
        self.last_pulse_s = float("-inf")
        self.first_pulse_s: float | None = None
        """Of those after the fault."""
        self._undo: list[Callable[[], None]] = []
        world = twin_of(rig).world
        step = world.on_step

        def on_step() -> None:
            self.note_pulse()
            step()

        world.on_step = on_step  # type: ignore[method-assign]
        blade_step = world.on_blade_step

        def on_blade_step() -> None:
            self.note_pulse()
            blade_step()

        world.on_blade_step = on_blade_step  # type: ignore[method-assign]

    def note_pulse(self) -> None:
        """A pulse has left the computer, whether or not it gets to a motor."""
        self.last_pulse_s = self.machine.clock.time_s()
        if self.at_s is not None and self.first_pulse_s is None:
            self.first_pulse_s = self.last_pulse_s

    @property
    def machine(self) -> Any:
        return self.rig.machine

    @property
    def twin(self) -> Any:
        return self.rig.twin

    def pin(self, name: str) -> Any:
        return self.twin.world.pins[getattr(self.rig.machine.settings.pins, name)]

    def patch(self, owner: Any, name: str, value: Any) -> None:
        """Replace an attribute until the end of the case."""
        before = getattr(owner, name)
        self._undo.append(lambda: setattr(owner, name, before))
        setattr(owner, name, value)

    def undo(self) -> None:
        for step in reversed(self._undo):
            step()


class Fault(NamedTuple):
    """Something that breaks, and what is expected of the machine."""

    name: str
    inject: Callable[[Injected], Any]
    """Does it; may return a task that goes on doing it."""
    states: tuple[str, ...]
    causes: frozenset[str]
    """One of these must stop the run; empty when none must."""
    visible_s: float | dict[str, float] = 0.0
    """It can be seen this long after it happened, by what the table of interlocks says; for each
    state where that differs."""
    ending: str = "fault"
    """`fault`; `no result` (the run goes to its end and is not valid); `rides through` (it is
    valid); `last run` (it is valid, and no other begins)."""
    file_may_end_early: bool = False
    bench: Bench = HAND
    """The rig that it happens to; the parts of `placing` have a blade in any case."""
    from_motion: bool = False
    """It can be seen only while the board should move: the time counts from the next pulse."""


class Outcome(NamedTuple):
    """What one case showed."""

    fault: str
    state: str
    cause: str
    late_ms: float
    """Last pulse after the fault could be seen; negative when it came before."""
    driver_off: bool
    valid_runs: int
    readable: bool
    problems: tuple[str, ...]
    """What is wrong with how the machine took it."""


def run_case(fault: Fault, state: str, folder: Path) -> Outcome:
    """Make two runs, with this fault in this state of the first."""
    bench = BLADE if " " in state and fault.bench is HAND else fault.bench
    rig = open_twin(bench.settings, bench.scenario, 3)
    case = Injected(rig, folder)
    n = {"no result": 1, "last run": 4}.get(fault.ending, 2)
    requests = plan_series(
        bench.settings, n, source="twin", started=rig.machine.clock.utc_now(), bag="X"
    )
    error: RigError | None = None
    try:
        with rig:
            task = make_runs(rig.machine, requests, folder, start_now=bench.start_now)
            beside = _now(case, fault) if state == "parked" else [_watch(case, fault, state)]
            try:
                rig.run(task, beside=beside)
            except RigError as caught:
                error = caught
            world = twin_of(rig).world
            driver_off = not world.motor.is_enabled
            if world.pusher is not None:
                driver_off = driver_off and not world.pusher.body.is_enabled
    finally:
        case.undo()
    runs = [read_run(path) for path in sorted(folder.rglob("*.run.jsonl"))]
    return _judge(case, fault, state, error, driver_off, runs)


def _now(case: Injected, fault: Fault) -> list[Task[Any]]:
    """Before anything moves."""
    case.at_s, case.in_state = case.machine.clock.time_s(), "parked"
    going_on = fault.inject(case)
    return [going_on] if going_on is not None else []


def _watch(case: Injected, fault: Fault, state: str) -> Task[None]:
    """Task: wait for the state, and let the fault happen some time after its beginning."""
    clock = case.machine.clock
    state, _, part = state.partition(" ")
    while case.machine.live.state != state or (part and not PLACES[part](case.twin.world)):
        yield At(clock.time_s() + LOOK_S)
    if not part:
        yield At(clock.time_s() + AFTER_S.get(state, 0.3))
    case.at_s, case.in_state = clock.time_s(), case.machine.live.state
    going_on = fault.inject(case)
    if going_on is not None:
        yield from going_on


def _judge(
    case: Injected,
    fault: Fault,
    state: str,
    error: RigError | None,
    driver_off: bool,
    runs: list[RunFile],
) -> Outcome:
    problems = []
    if case.at_s is None:
        problems.append("the fault never happened")
        case.at_s = 0.0
    elif case.in_state != state.partition(" ")[0]:
        problems.append(f"it happened in {case.in_state}")
    since_s = case.first_pulse_s if fault.from_motion and case.first_pulse_s else case.at_s
    visible_s = fault.visible_s
    if isinstance(visible_s, dict):
        visible_s = visible_s[state]
    late_s = case.last_pulse_s - (since_s + visible_s)
    valid = [analyse_run(run).result.valid for run in runs]
    cause = getattr(error, "cause", "") or type(error).__name__ if error is not None else ""
    if not driver_off:
        problems.append("the driver was left on")
    if fault.ending in ("fault", "last run"):
        problems += _judge_stop(case, fault, error)
    if fault.ending == "fault":
        if late_s > SLACK_S:
            problems.append(f"a pulse came {late_s * 1e3:.0f} ms after it could be seen")
        if any(valid):
            problems.append("a run is reported as valid")
        if runs and not fault.file_may_end_early:
            problems += _judge_file(case, runs[-1], cause)
    elif fault.ending == "no result":
        problems += [] if error is None else [f"stopped by {error}"]
        problems += ["a run is reported as valid"] if valid[:1] != [False] else []
    elif fault.ending == "rides through":
        problems += [] if error is None else [f"stopped by {error}"]
        problems += [] if valid == [True, True] else [f"valid: {valid}"]
    elif not all(valid) or not 1 <= len(valid) < 4:
        problems.append(f"valid: {valid}")
    readable = all(fault.file_may_end_early or not run.problems for run in runs)
    if not readable:
        problems.append(f"not whole: {[run.problems for run in runs]}")
    return Outcome(
        fault.name, state, cause, late_s * 1e3, driver_off, sum(valid), readable, tuple(problems)
    )


def _judge_stop(case: Injected, fault: Fault, error: RigError | None) -> list[str]:
    if not isinstance(error, MachineFaultError):
        return [f"expected one of {sorted(fault.causes)}, got {error!r}"]
    problems = []
    if error.cause not in fault.causes:
        problems.append(f"expected one of {sorted(fault.causes)}, got {error.cause}: {error.what}")
    entry = BY_CAUSE.get(error.cause)
    if entry is None:
        return [*problems, f"{error.cause} is not in the table"]
    if len(error.what) < 20 or len(entry.action) < 20:
        problems.append("the message does not name cause and remedy")
    if fault.ending == "fault":
        latched = case.machine.latched
        if latched is None or latched.cause != error.cause:
            problems.append("the first cause was not kept")
        if case.machine.live.state != "halted" or case.machine.is_homed:
            problems.append("it is not halted")
    return problems


def _judge_file(case: Injected, run: RunFile, cause: str) -> list[str]:
    problems = []
    if run.end is None or run.end.outcome != "fault":
        return ["the run has no end of a fault"]
    told = [event.detail.get("cause") for event in run.events if event.event in ("fault", "estop")]
    if told != [cause]:
        problems.append(f"the file tells of {told}")
    flag = next(entry.flag for entry in FAULTS if entry.cause == cause)
    if flag is not None and flag not in run.end.flags:
        problems.append(f"the flag {flag} is missing")
    return problems


def toggling(case: Injected, name: str, period_s: float) -> Task[None]:
    """An input that changes again and again."""
    clock = case.machine.clock
    for level in itertools.cycle((True, False)):
        if name in ("beam_1", "beam_2") and not case.twin.world.pins:
            return
        case.pin(name).drive(level, clock.time_s())
        yield At(clock.time_s() + period_s)


def hold(case: Injected, name: str, level: bool) -> None:
    """An input that stays at a level, whatever the world does."""
    pin = case.pin(name)
    pin.drive(level, case.machine.clock.time_s())
    pin.drive = lambda *_: None


def failing_writes(code: int) -> Callable[[OsFiles, int, bytes], int]:
    """A write that always fails."""

    def write(self: OsFiles, descriptor: int, data: bytes) -> int:
        raise OSError(code, "injected")

    return write
