"""Open a rig, real or twin; everything above and below is the same for both."""

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Self, TypeVar

from rig.calibration.file import load_calibration, newest_calibration
from rig.calibration.home import load_home_check
from rig.calibration.model import Calibration
from rig.clock import Clock, RealClock, Task, VirtualClock
from rig.control.machine import Machine
from rig.control.process.lock import RigLock, lock_path
from rig.devices.bus import Bus, real_bus
from rig.errors import BadInputError
from rig.files.stamps import utc_text
from rig.settings.load import find_settings
from rig.settings.model import Settings
from rig.study.folder.study import open_study

if TYPE_CHECKING:
    from rig.twin.bubble import TwinLevelPerson
    from rig.twin.friction import LawName
    from rig.twin.home import Home as Home
    from rig.twin.lifting import Display
    from rig.twin.rig import TwinRig
    from rig.twin.scenario import Scenario

T = TypeVar("T")
Speed = Literal["fast", "real"]


class OnBoard(NamedTuple):
    """Bag and air on the twin's board; a real rig measures them."""

    bag: str | None = None
    face: str | None = None
    board: str | None = None
    study: Path | None = None
    """Whose journal says what the bag has been through, where the twin has no home."""
    climate: str | None = None
    """A name for the air that is drawn where no figures are given."""
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    """Climate that the room was set to."""
    session: str = "session 1"
    series: str = "series 1"
    slides_before: int = 0
    """Where the twin has a home, that keeps count."""
    law: str | None = None
    """Of friction, by name; None: that of the home, else the plainest."""


NOTHING = OnBoard()


class OpenRig:
    """A machine and, on the twin, the world behind it; opened and closed by `with`.

    Args:
        machine: not open yet.
        twin: the simulated rig behind it; None for a real one.
        home: what the twin remembers, if it remembers anything.
        on_board: what lies on the twin's board.
    """

    def __init__(
        self,
        machine: Machine,
        twin: "TwinRig | None" = None,
        home: "Home | None" = None,
        on_board: OnBoard = NOTHING,
    ) -> None:
        self.machine = machine
        self.twin = twin
        self.notes: list[str] = []
        """What the twin had to invent, in sentences."""
        self._home = home
        self._on_board = on_board
        self._slides_before = 0 if home is None else home.slides_of(on_board.bag, on_board.face)
        self._slid_before = 0
        self.source: Literal["rig", "twin"] = "rig" if twin is None else "twin"

    def __enter__(self) -> Self:
        if self._home is not None:
            self._home.hold()
        try:
            self.machine.__enter__()
        except BaseException:
            if self._home is not None:
                self._home.let_go()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self.machine.__exit__(kind, error, trace)
        finally:
            try:
                self._remember()
            finally:
                if self._home is not None:
                    self._home.let_go()

    def _slid(self) -> int:
        """Slides of all bags since it was opened."""
        truths = () if self.twin is None else self.twin.truths
        return sum(truth.onset_angle_deg is not None for truth in truths)

    def _remember(self) -> None:
        """Keep the twin's time and the slides of its bag."""
        if self._home is None or self.twin is None:
            return
        slid = self._slid() - self._slid_before
        bag, face, *_ = self._on_board
        now = self.machine.clock.utc_now()
        if bag is None or not slid:
            self._home.wait(now)
        else:
            self._home.slid(bag, face, self._slides_before + slid, now)

    def take_bag(self, bag: str | None, face: str | None, board: str | None) -> list[str]:
        """Put a bag on the board of a twin with a home, as it is by now; others need a person.

        Returns what had to be invented, in sentences.
        """
        home = self._home
        if home is None or self.twin is None:
            return []
        self._remember()
        self._on_board = OnBoard(bag, face, board)
        self._slides_before, self._slid_before = home.slides_of(bag, face), self._slid()
        notes = home.invent(home.past_of(bag), face)
        from rig.twin.home import TODAY  # the air: as it is kept, else the weather

        self.twin.world.place_bag(home.scenario(bag, face, board, TODAY, self._on_board.session))
        return notes

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
            if self.machine.has_motor:
                person = self.twin.person(presses=presses)
            else:
                person = self.twin.lifter(self._shown, presses=presses)
            clock.spawn(person, "person")
        return clock.run(task)

    def _shown(self) -> "Display":
        """What the simulated person reads off the display."""
        from rig.twin.lifting import Display

        live = self.machine.live
        return Display(live.state, live.wants, live.target_deg_s, live.hold_deg)

    def level_person(self, seed: int | None = None, **errors: float) -> "TwinLevelPerson | None":
        """Reader of a simulated level on the twin; None on a real rig.

        Args:
            seed: of the level's errors; the twin's if None.
            **errors: as `TwinLevelPerson` takes them.
        """
        if self.twin is None:
            return None
        from rig.twin.bubble import TwinLevelPerson

        return TwinLevelPerson(self.twin.world, self.twin.seed if seed is None else seed, **errors)

    def write_truth(self, run_file: Path) -> Path | None:
        """Write the twin's truth of the last run beside its file; nothing on a real rig."""
        # Kept after each run: what a killed process had done must not be done again.
        self._remember()
        return None if self.twin is None else self.twin.write_truth(run_file)


def open_rig(
    settings: Settings,
    *,
    twin: bool,
    seed: int | None = 1,
    home: Path | None = None,
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
        seed: of a twin without a home.
        home: folder of the twin that is meant; it has its own seed, clock and memory.
        speed: of the twin: `fast` jumps from event to event, `real` takes its time.
        on_board: of the twin: the bag, its face, the air.
        utc: of the twin when it jumps: its wall time; now if None.
        settings_file: where the settings came from; the rig's calibration lies beside it.
        calibrates: it is opened for a calibration, so a missing or damaged one is accepted.

    Raises:
        BadInputError: the calibration file cannot be used, or the twin's time would run back.
    """
    if twin:
        return _open_twin(settings, seed, home, speed, on_board, utc, settings_file, calibrates)
    clock = RealClock()

    def open_pins() -> Any:
        from rig.devices.memory import lock_memory
        from rig.devices.pins import real_factory

        lock_memory()
        return real_factory()

    folder = calibration_folder(settings_file)
    calibration = _find_calibration(settings, folder, may_fail=calibrates)
    bus = real_bus(clock, settings.bus.number)
    lock = RigLock(lock_path(settings.bus.number))
    machine = Machine(clock, settings, open_pins, bus, calibration, lock=lock)
    machine.home_check = load_home_check(folder)
    return OpenRig(machine)


def _open_twin(
    settings: Settings,
    seed: int | None,
    folder: Path | None,
    speed: Speed,
    on_board: OnBoard,
    utc: datetime | None,
    settings_file: Path | None,
    calibrates: bool,
) -> OpenRig:
    """A twin with a home, or one that is drawn from a seed for this once."""
    from rig.twin import invented
    from rig.twin.home import Home, WantedHome, past_of

    bag, face, board = on_board.bag, on_board.face, on_board.board
    wanted = WantedHome(on_board.climate, on_board.temperature_c, on_board.relative_humidity_pct)
    home = None if folder is None else Home(folder)
    law = _law(on_board.law, has_home=home is not None)
    seed = 0 if seed is None else seed
    notes: list[str] = []
    if home is not None:
        if utc is not None and utc < home.now:
            raise BadInputError(
                f"On this twin it is {home.state.now} already, later than {utc_text(utc)}; leave"
                " the time out."
            )
        home.wait(utc or home.now)
        seed, utc = home.seed, home.now
        notes = home.invent(home.past_of(bag), face)
        scenario = home.scenario(bag, face, board, wanted, on_board.session)
    else:
        now = utc or datetime.now(UTC)
        studies = [] if on_board.study is None else [open_study(on_board.study)]
        scenario = invented.scenario_of(
            seed,
            invented.on_board(seed, bag, face, board, past_of(studies, bag, utc_text(now))),
            invented.room(seed, *wanted),
            law=law,
            session=on_board.session,
            series=on_board.series,
            slides_before=on_board.slides_before,
        )
    calibrations = twin_calibrations(seed, folder, settings_file)
    if settings.files.calibration:
        calibrations = calibration_folder(settings_file)
    calibration = _find_calibration(settings, calibrations, may_fail=calibrates)
    opened = open_twin(settings, scenario, seed, speed, utc, calibration)
    opened.machine.home_check = load_home_check(calibrations)
    found = OpenRig(opened.machine, opened.twin, home, on_board)
    found.notes = notes
    return found


def _law(name: str | None, *, has_home: bool) -> "LawName":
    from rig.twin.friction import LAW_NAMES

    if name is None:
        return "coulomb"
    if has_home:
        raise BadInputError("The simulated rig here has a law of its own; leave out --law.")
    found = next((one for one in LAW_NAMES if one == name), None)
    if found is None:
        raise BadInputError(f"--law takes {', '.join(LAW_NAMES)}, not {name!r}.")
    return found


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

    clock: Clock = VirtualClock(utc=utc) if speed == "fast" else RealClock(utc)
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


def open_home(folder: Path) -> "Home":
    """What a simulated rig remembers.

    Raises:
        BadInputError: its file can't be read.
    """
    from rig.twin.home import Home

    return Home(folder)


def new_home(folder: Path, seed: int, now: datetime, law: str, wear: str) -> "Home":
    """Make the home of a simulated rig.

    Args:
        folder: new, or without one yet.
        seed: of all draws.
        now: its wall time at the start.
        law: of friction, by name.
        wear: how treatments add up, by name.

    Raises:
        BadInputError: there is no such law, or the folder can't be made.
    """
    from rig.twin import home

    return home.new_home(folder, seed=seed, now=now, law=law, wear=wear)


def twin_calibrations(seed: int | None, home: Path | None, settings_file: Path | None) -> Path:
    """Where a twin's calibrations lie: apart, so that no real rig takes one of them."""
    if home is not None:
        return home / "twin-calibration"
    return calibration_folder(settings_file).with_name("twin-calibration") / f"seed-{seed}"
