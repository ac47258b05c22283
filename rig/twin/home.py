"""What a simulated rig remembers: a folder with its clock, its air and what its bags went through.

Treatments and throws stand in the journals of the studies in the folder; slides, which only the
twin knows of, and the effects that were invented for recipes stand in `twin.json`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from math import atan, degrees, radians, tan
from pathlib import Path
from typing import Annotated, Any, NamedTuple, get_args

import msgspec
from msgspec import Meta, Struct, field

from rig.control.process.lock import RigLock
from rig.errors import BadInputError
from rig.files.durable import create_file, make_folder, replace_file
from rig.files.stamps import check_wall_clock, parse_utc, utc_text
from rig.files.time_here import HOME_NAME
from rig.settings.load import load_settings
from rig.study.folder.journal import Play, Treatment
from rig.study.folder.study import Study, is_study, open_study
from rig.twin import invented
from rig.twin.draws import draw_scenario
from rig.twin.fabric import Face
from rig.twin.friction import LAW_NAMES, LawName
from rig.twin.ground import start_grip
from rig.twin.invented import Past, Wear
from rig.twin.scenario import AirTruth, Scenario

FORMAT = "tilt-twin"
VERSION = 1
SETTINGS = """\
# Settings of a simulated rig: full steps and fewer samples than usual, so that it is quick.
name = "the twin"

[imu]
rate_hz = 104

[screw]
microsteps = 1
"""


class KeptAir(Struct, frozen=True, kw_only=True):
    """Air that a person keeps in the room, whatever a study wants."""

    temperature_c: Annotated[float, Meta(ge=-20, le=60)]
    relative_humidity_pct: Annotated[float, Meta(ge=0, le=100)]


class HomeState(Struct, frozen=True, kw_only=True):
    """The file `twin.json`."""

    format: str = FORMAT
    version: int = VERSION
    seed: Annotated[int, Meta(ge=0)]
    made_at: str
    now: str
    """Its wall time."""
    law: LawName = "coulomb"
    wear: Wear = "saturating"
    air: KeptAir | None = None
    """None: that of the planned climate, or the weather."""
    slides: dict[str, dict[str, int]] = field(default_factory=dict)
    """By bag and face."""
    shares: dict[str, dict[str, float]] = field(default_factory=dict)
    """By recipe and face: what a first application takes of the coefficients."""


class WantedHome(NamedTuple):
    """Air that a study plans to measure in."""

    climate: str | None = None
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None


TODAY = WantedHome()


class Home:
    """The folder of a simulated rig; reads and keeps its state.

    One process at a time holds it and changes it. What others keep meanwhile would be lost or turn
    its clock back, so they are refused.

    Args:
        folder: with `twin.json`.

    Raises:
        BadInputError: it can't be read, or comes from a newer program.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._path = folder / HOME_NAME
        self._lock = RigLock(
            folder / "twin.lock",
            busy=f"works on the simulated rig of {folder}; end it first, or wait for it.",
        )
        self._is_held = False
        self.state = self._read()

    def _read(self) -> HomeState:
        try:
            state = msgspec.json.decode(self._path.read_bytes(), type=HomeState)
            parse_utc(state.now)
        except (OSError, ValueError) as error:
            raise BadInputError(
                f"{self._path} can't be read: {error}; restore the file."
            ) from error
        if state.format != FORMAT or state.version > VERSION:
            raise BadInputError(f"{self._path} comes from a newer program; update rig.")
        return state

    def hold(self) -> None:
        """Keep other processes from changing it, until `let_go`.

        Raises:
            BusyError: another one holds it.
            BadInputError: another one has changed it since it was read.
        """
        self._lock.open()
        self._is_held = True
        if self._read() != self.state:
            self.let_go()
            raise BadInputError(
                f"Another command has just changed the simulated rig of {self.folder}; give this"
                " command again."
            )

    def let_go(self) -> None:
        """Let others have it; harmless when it is not held."""
        self._is_held = False
        self._lock.close()

    @contextmanager
    def _held(self) -> Iterator[None]:
        if self._is_held:
            yield
            return
        self.hold()
        try:
            yield
        finally:
            self.let_go()

    @property
    def seed(self) -> int:
        """Of all draws."""
        return self.state.seed

    @property
    def now(self) -> datetime:
        """Its wall time."""
        return parse_utc(self.state.now)

    @property
    def calibrations(self) -> Path:
        """Folder of the calibrations that were made on it."""
        return self.folder / "twin-calibration"

    @property
    def settings_file(self) -> Path:
        """Its settings."""
        return self.folder / "rig.toml"

    def keep(self, **changes: Any) -> None:
        """Change the state and write it down.

        Raises:
            BusyError: another process holds it.
            BadInputError: it can't be written, or has been changed since it was read.
        """
        with self._held():
            state = msgspec.structs.replace(self.state, **changes)
            try:
                replace_file(self._path, msgspec.json.format(msgspec.json.encode(state)) + b"\n")
            except OSError as error:
                raise BadInputError(f"{self._path} can't be written: {error.strerror}.") from error
            self.state = state

    def wait(self, until: datetime) -> None:
        """Let time pass; never backwards."""
        if until > self.now:
            self.keep(now=utc_text(until))

    # -- bags -----------------------------------------------------------------------------------

    def slides_of(self, bag: str | None, face: str | None) -> int:
        """How many slides a face has behind it."""
        return self.state.slides.get(bag or "", {}).get(face or "slick", 0)

    def slid(self, bag: str | None, face: str | None, total: int, now: datetime) -> None:
        """Keep what a face has slid in all, and the time."""
        slides = {name: dict(faces) for name, faces in self.state.slides.items()}
        slides.setdefault(bag or "", {})[face or "slick"] = total
        self.keep(slides=slides, now=utc_text(max(now, self.now)))

    def studies(self) -> Iterator[Study]:
        """The studies in the folder."""
        for path in sorted({self.folder, *self.folder.iterdir()}):
            if path.is_dir() and is_study(path):
                yield open_study(path)

    def past_of(self, bag: str | None) -> Past:
        """What the journals say that the bag has been through by now."""
        return past_of(list(self.studies()), bag, self.state.now)

    def face(self, bag: str | None, face: str | None, board: str | None, past: Past) -> Face | None:
        """A face of a bag after all that, on a board; None without a bag."""
        shares = {
            recipe: self.state.shares[recipe][face or "slick"]
            for recipe in dict.fromkeys(past.recipes)
            if (face or "slick") in self.state.shares.get(recipe, {})
        }
        return invented.on_board(
            self.seed, bag, face, board, past, shares=shares, wear=self.state.wear
        )

    def invent(self, past: Past, face: str | None) -> list[str]:
        """Keep the effects of recipes that act on a face for the first time; says what they are."""
        name, said = face or "slick", []
        shares = {recipe: dict(faces) for recipe, faces in self.state.shares.items()}
        for recipe in dict.fromkeys(past.recipes):
            if name in shares.get(recipe, {}):
                continue
            share = invented.share_of(self.seed, recipe, name)
            shares.setdefault(recipe, {})[name] = share
            said.append(_effect(recipe, name, share))
        if said:
            self.keep(shares=shares)
        return said

    def true_angle_deg(
        self,
        bag: str,
        face: str,
        board: str | None,
        humidity_pct: float,
        past: Past | None = None,
    ) -> float:
        """Slide angle of a bag as it is now, or with another past; all scatter left out.

        The rig's sticky spots where the bag is put count; its vibration, far less, does not.
        """
        there = self.face(bag, face, board, self.past_of(bag) if past is None else past)
        assert there is not None  # noqa: S101 - a bag was named
        grip = start_grip(draw_scenario(self.seed).board, load_settings(self.settings_file))
        found = radians(invented.angle_deg(there, humidity_pct, self.slides_of(bag, face)))
        return degrees(atan(grip * tan(found)))

    def effect_deg(
        self, recipe: str, bag: str, face: str, board: str | None, humidity_pct: float
    ) -> float:
        """What a first application of a recipe does to a bag as new, in degrees."""
        with_it, without = (
            self.true_angle_deg(bag, face, board, humidity_pct, Past(recipes))
            for recipes in ((recipe,), ())
        )
        return with_it - without

    def bags(self) -> list[str]:
        """The bags of the studies in the folder."""
        return [bag for study in self.studies() for bag in study.catalogue.bags]

    def effects(self) -> list[str]:
        """What was invented for recipes, in sentences."""
        return [
            _effect(recipe, face, share)
            for recipe, faces in self.state.shares.items()
            for face, share in faces.items()
        ]

    # -- air ------------------------------------------------------------------------------------

    def keep_air(self, temperature_c: float, relative_humidity_pct: float) -> None:
        """Keep the room at an air from now on."""
        self.keep(
            air=KeptAir(temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct)
        )

    def air(self, wanted: WantedHome = TODAY) -> AirTruth:
        """The room's air: as a person keeps it, else as a plan wants it, else the weather."""
        kept = self.state.air
        if kept is not None:
            found = invented.room(self.seed, "kept", kept.temperature_c, kept.relative_humidity_pct)
        else:
            found = invented.room(self.seed, *wanted)
        return found or invented.weather(self.seed, self.now)

    def scenario(
        self, bag: str | None, face: str | None, board: str | None, wanted: WantedHome, session: str
    ) -> Scenario:
        """The rig as it stands now, with this bag on it."""
        now = self.now
        return invented.scenario_of(
            self.seed,
            self.face(bag, face, board, self.past_of(bag)),
            self.air(wanted),
            law=self.state.law,
            session=f"{session} {now:%Y-%m-%d}",
            # No two series are laid at one time, so their placings differ.
            series=self.state.now,
            slides_before=self.slides_of(bag, face),
            is_session_named=True,
        )


def new_home(
    folder: Path, *, seed: int, now: datetime, law: str = "coulomb", wear: str = "saturating"
) -> Home:
    """Make the home of a simulated rig; settings that are there already are left alone.

    Raises:
        BadInputError: there is one already, it can't be made there, or there is no such law.
    """
    check_wall_clock(now)
    stamp = utc_text(now)
    given = {"seed": seed, "made_at": stamp, "now": stamp, "law": law, "wear": wear}
    try:
        state = msgspec.convert(given, HomeState)
    except msgspec.ValidationError as error:
        laws, wears = (", ".join(names) for names in (LAW_NAMES, get_args(Wear)))
        raise BadInputError(
            f"{error}; there are the laws {laws} and the ways of wear {wears}."
        ) from None
    if (folder / HOME_NAME).exists():
        raise BadInputError(f"{folder} is the home of a simulated rig already; choose another.")
    try:
        make_folder(folder)
        if not (folder / "rig.toml").exists():
            create_file(folder / "rig.toml", SETTINGS.encode())
        create_file(folder / HOME_NAME, msgspec.json.format(msgspec.json.encode(state)) + b"\n")
    except OSError as error:
        raise BadInputError(f"{folder} can't be made: {error.strerror}.") from error
    return Home(folder)


def past_of(studies: list[Study], bag: str | None, now: str) -> Past:
    """What journals say that a bag has been through by a time (UTC)."""
    if bag is None:
        return Past()
    done: list[Treatment] = []
    throws = 0
    for study in studies:
        done += [one for one in study.journal.treatments_of(bag) if one.at <= now]
        throws += sum(
            one.throws for one in study.journal.of(Play) if one.bag == bag and one.at <= now
        )
    done.sort(key=lambda one: one.at)
    return Past([one.recipe or _steps(one) for one in done], throws)


def _effect(recipe: str, face: str, share: float) -> str:
    does = f"takes {100.0 * share:.1f} % of" if share >= 0.0 else f"adds {-100.0 * share:.1f} % to"
    return (
        f"Invented: a first {recipe} {does} the friction of a {face} face, give or take"
        f" {100.0 * invented.RESPONSE_SD:.0f} % of that from bag to bag."
    )


def _steps(treatment: Treatment) -> str:
    """A name for a treatment without a recipe."""
    return ", ".join(step.action for step in treatment.steps)
