"""Series on the twin with a blade, for the tests of placing."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from rig.clock import At, Task
from rig.control.blade.placing import placing_for
from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.control.placing import Placed
from rig.errors import RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs, start_watching
from rig.runfile.reader import RunFile, read_run
from rig.settings.checks import check
from rig.settings.model import Blade, CycleSettings, Pins, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Scenario, Truth

PINS = Pins(blade_step=13, blade_direction=19, blade_enable=21, blade_park=4)
NO_SWITCH = msgspec.structs.replace(PINS, blade_park=None)
SETTINGS = Settings(
    pins=PINS,
    blade=Blade(fitted=True),
    cycle=CycleSettings(dwell_s=1.0, placing_timeout_s=60.0),
)
check(SETTINGS, "the tests' settings")


def soft_bag(seed: int = 3, **sections: dict[str, Any]) -> Scenario:
    """A bag that slides at 8.5° and never folds unless `blade` says so."""
    sections["blade"] = {"fold_share": 0.0} | sections.get("blade", {})
    return changed(draw_scenario(seed, face=plain_face(0.15, 0.11)), **sections)


def with_blade(settings: Settings = SETTINGS, **blade: Any) -> Settings:
    """The settings with some of the blade changed."""
    return msgspec.structs.replace(settings, blade=msgspec.structs.replace(settings.blade, **blade))


class Series(NamedTuple):
    """What a series left behind."""

    rig: OpenRig
    runs: list[RunFile]
    truths: list[Truth]
    pushes: list[int]
    error: RigError | None

    def events(self, name: str, run: int = -1) -> list[dict[str, Any]]:
        return [event.detail for event in self.runs[run].events if event.event == name]

    @property
    def cause(self) -> str | None:
        return getattr(self.error, "cause", None)

    @property
    def blade(self) -> Any:
        """The true blade of the world."""
        assert self.rig.twin is not None
        assert self.rig.twin.world.pusher is not None
        return self.rig.twin.world.pusher.body


def make_series(
    folder: Path,
    scenario: Scenario,
    repeat: int = 1,
    *,
    settings: Settings = SETTINGS,
    start_now: bool = True,
    seed: int = 3,
    beside: Callable[[OpenRig], Iterable[Task[Any]]] = lambda _: (),
) -> Series:
    """Make runs with the blade to their end, or to the stop."""
    rig = open_twin(settings, scenario, seed)
    started = rig.machine.clock.utc_now()
    requests = plan_series(
        settings, repeat, source="twin", started=started, bag="Test bag", face="slick"
    )
    truths: list[Truth] = []
    pushes: list[int] = []

    def ended(run: Any) -> None:
        assert rig.twin is not None
        truth = rig.twin.world.truth()
        assert truth is not None
        truths.append(truth)
        pushes.append(run.pushes)

    error: RigError | None = None
    with rig:
        placing = placing_for(rig.machine, is_ready=start_now)
        task = make_runs(
            rig.machine, requests, folder, start_now=start_now, placing=placing, on_end=ended
        )
        try:
            rig.run(task, beside=beside(rig))
        except RigError as caught:
            error = caught
        assert not rig.machine.stepper.enabled
        assert rig.machine.blade is not None
        assert not rig.machine.blade.enabled
    runs = [read_run(path) for path in sorted(folder.rglob("*.run.jsonl"))]
    return Series(rig, runs, truths, pushes, error)


def place_often(scenario: Scenario, n: int, seed: int = 3) -> list[tuple[Placed, float]]:
    """Placings alone, without runs: what each stated, and the true gap in mm.

    The steps are coarse, 0.2 mm, to save time. After each the bag is laid against the blade again,
    as if it had slid down.
    """
    scenario = changed(scenario, board={"start_angle_deg": 0.0})
    settings = with_blade(microsteps=1)
    rig = open_twin(settings, scenario, seed)
    request = plan_series(settings, 1, source="twin", started=rig.machine.clock.utc_now())[0]
    placings: list[tuple[Placed, float]] = []

    def place(machine: Machine) -> Task[None]:
        placing, mover = placing_for(machine, is_ready=True), Mover(machine)
        watchers = start_watching(machine)
        yield At(machine.clock.time_s() + 0.3)
        for _ in range(n):
            placed = yield from placing.place(mover, request)
            assert rig.twin is not None
            world = rig.twin.world
            placings.append((placed, world.bag.placing.gap_mm))
            assert world.pusher is not None
            world.bag = world.pusher.laid(world.bag)
        for watcher in watchers:
            watcher.cancel()

    with rig:
        rig.run(place(rig.machine))
    return placings
