"""A study folder: opened as one thing, and its parts found by name."""

import os
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from msgspec import Struct

from rig.errors import BadInputError
from rig.files.durable import make_folder
from rig.files.names import nearest
from rig.files.stamps import check_wall_clock, parse_utc, utc_text
from rig.files.time_here import now_in
from rig.runfile.reader import find_runs
from rig.study.folder import catalogue_file, journal_file
from rig.study.folder.catalogue import BASELINE, Bag, Catalogue, Preferences, stage_number
from rig.study.folder.durable import cannot_write, create_file, locked
from rig.study.folder.journal import Journal, Treatment
from rig.study.folder.journal_file import T
from rig.study.folder.names import with_safe_names

RUNS, PLAN = "runs", "plan.csv"
FOLDERS = ("calibration", RUNS, "report")
SLACK = timedelta(minutes=10)
"""So far may a time lie ahead: a person rounds up, clocks differ."""


class Study(Struct, frozen=True, kw_only=True):
    """A study as it was read; open it again after a change."""

    path: Path
    catalogue: Catalogue
    journal: Journal

    @property
    def catalogue_path(self) -> Path:
        """Its `study.toml`."""
        return self.path / catalogue_file.NAME

    @property
    def journal_path(self) -> Path:
        """Its `journal.jsonl`."""
        return self.path / journal_file.NAME

    @property
    def plan_path(self) -> Path:
        """Its `plan.csv`."""
        return self.path / PLAN

    @property
    def runs_path(self) -> Path:
        """The folder of its run files."""
        return self.path / RUNS

    def bag(self, name: str) -> Bag:
        """The bag of this name.

        Raises:
            BadInputError: the catalogue has none.
        """
        if name not in self.catalogue.bags:
            raise unknown("bag", name, self.catalogue.bags, "`rig study bag` adds one")
        return self.catalogue.bags[name]

    def set_members(self, name: str) -> list[str]:
        """The bags of a set.

        Raises:
            BadInputError: no bag is in it.
        """
        members = [bag for bag, about in self.catalogue.bags.items() if about.set == name]
        if not members:
            sets = sorted({bag.set for bag in self.catalogue.bags.values() if bag.set})
            raise unknown("set", name, sets, "`rig study bag --set` puts a bag in one")
        return members

    def check_face(self, bag: str, face: str) -> None:
        """Raise BadInputError unless the bag is known and has this face."""
        faces = self.bag(bag).faces
        if face not in faces:
            raise unknown("face", face, faces, f"those are the faces of {bag}")

    def check_board(self, name: str) -> None:
        """Raise BadInputError unless the board is known."""
        if name not in self.catalogue.boards:
            raise unknown("board", name, self.catalogue.boards, "`rig study board` adds one")

    def check_climate(self, name: str) -> None:
        """Raise BadInputError unless the climate is one of those wanted."""
        if name not in self.catalogue.airs:
            raise unknown("climate", name, self.catalogue.airs, "`rig study climate` adds one")

    def check_treatment(self, name: str) -> None:
        """Raise BadInputError unless there is a recipe of this name."""
        if name not in self.catalogue.treatments:
            raise unknown(
                "treatment", name, self.catalogue.treatments, "`rig study treat --recipe` adds one"
            )

    def note(self, *entries: T, now: datetime | None = None, simulated: bool = False) -> list[T]:
        """Append to the journal; returns the entries as they were written.

        Args:
            entries: what was done or read.
            now: by the clock that counts; that of the study's folder if not given.
            simulated: it is the twin's, which may well be behind the day the study was made.

        Raises:
            BadInputError: that clock is wrong, an entry lies in its future, has a name that can't
                be seen, or can't be written.
        """
        now = now or now_in(self.path)
        check_wall_clock(now, "" if simulated else self.catalogue.made_at)
        for entry in entries:
            if parse_utc(entry.at) > now + SLACK:
                raise BadInputError(
                    f"{entry.at} lies in the future (it is {utc_text(now)}); correct the time with"
                    " --at."
                )
        safe = [with_safe_names(entry) for entry in entries]
        return journal_file.append_all(self.journal_path, safe)

    def leaves_residue(self, bag: str, stage: str) -> bool:
        """Whether the bag has been treated by this stage, so that the board is wiped after it."""
        return self.bag(bag).role == "treated" and self.stage_order(stage) > 0

    def stage_at(self, bag: str, at: str | None = None, line: int | None = None) -> str:
        """The stage that a bag is in, now or at a time (RFC 3339, UTC) and a line of the journal.

        A treated bag's stage is that of its last treatment. A control or reference bag, which is
        never treated, shares the furthest stage that any treated bag has reached.
        """
        if self.bag(bag).role == "treated":
            return self.journal.stage_of(bag, at, line)
        begun = {e.stage for e in self.journal.of(Treatment) if at is None or e.is_by(at, line)}
        return max(begun, key=self.stage_order, default=BASELINE)

    def stage_order(self, stage: str) -> int:
        """0 for the baseline, n for `after n`.

        Raises:
            BadInputError: it is not the name of a stage.
        """
        number = stage_number(stage)
        if number is None:
            raise BadInputError(
                f"{stage!r} is not a stage; there are `{BASELINE}`, `after 1` and so on."
            )
        return number


def unknown(what: str, name: str, known: Iterable[str], hint: str) -> BadInputError:
    """The sentence about a name that is not in the catalogue."""
    names = list(known)
    near = nearest(name, names)
    if near is not None:
        return BadInputError(f"The study knows no {what} {name!r}; did you mean {near!r}?")
    there = ", ".join(names) or "none yet"
    return BadInputError(f"The study knows no {what} {name!r} (known: {there}); {hint}.")


def own_files(path: Path) -> list[Path]:
    """Catalogue, plan and journal of a study's folder, as far as they are there; none is read."""
    names = (catalogue_file.NAME, PLAN, journal_file.NAME)
    return [path / name for name in names if (path / name).exists()]


def runs_in(path: Path) -> list[Path]:
    """The run files of a study's folder, in order of their names; none is read."""
    runs = path / RUNS
    return find_runs([runs]) if runs.is_dir() else []


def is_study(path: Path) -> bool:
    """Whether this is a study's folder."""
    return (path / catalogue_file.NAME).is_file()


def study_above(place: Path) -> Path | None:
    """The study's folder that a place is, or lies in; None if it lies in none."""
    return next((path for path in (place, *place.parents) if is_study(path)), None)


def open_study(path: Path) -> Study:
    """Read a study folder.

    Raises:
        BadInputError: it is not a study, is from a newer program, or has something invalid in it.
    """
    if not path.is_dir():
        raise BadInputError(f"There is no study folder {path}; make one with `rig study new`.")
    return Study(
        path=path,
        catalogue=catalogue_file.read_catalogue(path / catalogue_file.NAME),
        journal=journal_file.read_journal(path / journal_file.NAME),
    )


def new_study(
    path: Path,
    name: str,
    preferences: Preferences | None = None,
    older: Sequence[Path] = (),
) -> Study:
    """Make a study folder; files that are in it already are left alone.

    Args:
        path: of the folder.
        name: of the study.
        preferences: how it measures.
        older: studies whose experience it takes.

    Raises:
        BadInputError: there is a study already, it can't be made there, or an older one is none.
    """
    experience = [os.path.relpath(open_study(one).path, path) for one in older]
    now = now_in(path)
    check_wall_clock(now)
    made_at = utc_text(now)
    text = catalogue_file.new_catalogue_text(
        name, made_at, preferences or Preferences(), experience
    )
    catalogue_file.parse_catalogue(text, path / catalogue_file.NAME)
    if (path / catalogue_file.NAME).exists():
        raise BadInputError(f"{path} is a study already; choose another folder.")
    try:
        for folder in FOLDERS:
            make_folder(path / folder)
    except OSError as error:
        raise cannot_write(path, error) from error
    with locked(path):
        create_file(path / catalogue_file.NAME, text.encode())
    return open_study(path)
