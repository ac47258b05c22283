"""Open a rig, real or twin; everything above and below is the same for both."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Self, TypeVar

from rig.calibration.file import load_calibration, newest_calibration
from rig.calibration.home import load_home_check
from rig.calibration.model import Calibration
from rig.clock import Clock, RealClock, Task, VirtualClock
from rig.control.lock import RigLock, lock_path
from rig.control.machine import Machine
from rig.devices.bus import Bus, real_bus
from rig.errors import BadInputError
from rig.settings.load import find_settings
from rig.settings.model import Settings

if TYPE_CHECKING:
    from rig.twin.bubble import TwinLevelPerson
    from rig.twin.rig import TwinRig
    from rig.twin.scenario import Scenario

T = TypeVar("T")
Speed = Literal["fast", "real"]


class OnBoard(NamedTuple):
    """Bag and air on the twin's board; a real rig measures them."""

    bag: str | None = None
    face: str | None = None
    stage: str | None = None
    """`baseline`, `after 1` and so on."""
    climate: str | None = None
    """A name for the air that is drawn where no figures are given."""
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    """Climate that the room was set to."""
    session: str = "session 1"
    series: str = "series 1"
    slides_before: int = 0


NOTHING = OnBoard()


class OpenRig:
    """A machine and, on the twin, the world behind it; opened and closed by `with`.

    Args:
        machine: not open yet.
        twin: the simulated rig behind it; None for a real one.
    """

    def __init__(self, machine: Machine, twin: "TwinRig | None" = None) -> None:
        self.machine = machine
        self.twin = twin
        self.source: Literal["rig", "twin"] = "rig" if twin is None else "twin"

    def __enter__(self) -> Self:
        self.machine.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.machine.__exit__(kind, error, trace)

    def run(self, task: Task[T], beside: Iterable[Task[Any]] = (), *, presses: bool = True) -> T:
        """Run a task on the machine's clock; on the twin a simulated person stands by.

        Args:
            task: what to run to its end.
            beside: what runs meanwhile.
            presses: the simulated person presses start; otherwise it only puts the bag back.
        """
        clock = self.machine.clock
        for i, companion in enumerate(beside):
            clock.spawn(companion, f"beside {i}")
        if self.twin is not None:
            clock.spawn(self.twin.person(presses=presses), "person")
        return clock.run(task)

    def level_person(self, seed: int, **errors: float) -> "TwinLevelPerson | None":
        """Reader of a simulated level on the twin; None on a real rig.

        Args:
            seed: of the level's errors.
            **errors: as `TwinLevelPerson` takes them.
        """
        if self.twin is None:
            return None
        from rig.twin.bubble import TwinLevelPerson

        return TwinLevelPerson(self.twin.world, seed, **errors)

    def write_truth(self, run_file: Path) -> Path | None:
        """Write the twin's truth of the last run beside its file; nothing on a real rig."""
        return None if self.twin is None else self.twin.write_truth(run_file)


def open_rig(
    settings: Settings,
    *,
    twin: bool,
    seed: int = 1,
    speed: Speed = "fast",
    on_board: OnBoard = NOTHING,
    utc: datetime | None = None,
    settings_file: Path | None = None,
    calibrates: bool = False,
) -> OpenRig:
    """Put a machine together, without touching any hardware yet.

    Args:
        settings: the settings in force.
        twin: the simulated rig instead of a real one.
        seed: of the twin.
        speed: of the twin: `fast` jumps from event to event, `real` takes its time.
        on_board: of the twin: the bag, its face, the air.
        utc: of the twin when it jumps: its wall time; now if None.
        settings_file: where the settings came from; a real rig's calibration lies beside it.
        calibrates: it is opened for a calibration, so a missing or damaged one is no hindrance.

    Raises:
        BadInputError: the calibration file cannot be used.
    """
    if twin:
        from rig.twin.invented import scenario_of

        calibration = None
        if settings.files.calibration:
            folder = calibration_folder(settings_file)
            calibration = _find_calibration(settings, folder, may_fail=calibrates)
        scenario = scenario_of(seed, **on_board._asdict())
        return open_twin(settings, scenario, seed, speed, utc, calibration)
    clock = RealClock()

    def open_pins() -> Any:
        from rig.devices.pins import real_factory

        return real_factory()

    folder = calibration_folder(settings_file)
    calibration = _find_calibration(settings, folder, may_fail=calibrates)
    bus = real_bus(clock, settings.bus.number)
    lock = RigLock(lock_path(settings.bus.number))
    machine = Machine(clock, settings, open_pins, bus, calibration, lock=lock)
    machine.home_check = load_home_check(folder)
    return OpenRig(machine)


def true_angle_deg(seed: int, bag: str, face: str, stage: str, humidity_pct: float) -> float:
    """True slide angle of one of the twin's bags, without scatter; for demonstrations."""
    from rig.twin import invented

    return invented.true_angle_deg(seed, bag=bag, face=face, stage=stage, humidity_pct=humidity_pct)


def open_twin(
    settings: Settings,
    scenario: "Scenario",
    seed: int,
    speed: Speed = "fast",
    utc: datetime | None = None,
    calibration: Calibration | None = None,
) -> OpenRig:
    """The twin in a scenario of one's own; `open_rig` draws one.

    Without a calibration it has the one that an ideal level would have left it.
    """
    from rig.twin.rig import TwinRig

    clock: Clock = VirtualClock(utc=utc) if speed == "fast" else RealClock()
    twin = TwinRig(settings, scenario, seed, clock)
    bus = Bus(clock, twin.open_bus, "the twin's bus")
    calibration = calibration or twin.calibration()
    machine = Machine(clock, settings, lambda: twin.factory, bus, calibration)
    return OpenRig(machine, twin)


def _find_calibration(settings: Settings, folder: Path, *, may_fail: bool) -> Calibration | None:
    """File named in the settings, else the newest beside the settings file."""
    named = settings.files.calibration
    file = folder.parent / named if named else newest_calibration(folder)
    try:
        return None if file is None else load_calibration(file)
    except BadInputError:
        if may_fail:
            return None
        raise


def calibration_folder(settings_file: Path | None) -> Path:
    """Where a rig's calibrations lie: beside the settings in force."""
    found = find_settings(settings_file)
    return (Path() if found is None else found.parent) / "calibration"
