"""What was done and read by hand, line by line in `journal.jsonl`; nothing is ever rewritten.

Each line is one JSON object with a `kind`, its number `line` and a `check` over the rest. A line is
put right by a whole new line of the same kind that names it in `replaces`; a `withdrawal` takes a
line away without another. A line that was cut off by a power failure is reported and left out. A
line whose check fails is in doubt until a `confirmation` or a `withdrawal` names it.
"""

from collections.abc import Iterator
from typing import Annotated, Literal, NamedTuple, TypeVar

from msgspec import UNSET, Meta, Struct, UnsetType, field

from rig.study.folder.catalogue import BASELINE, Step
from rig.study.folder.ranges import AIR_C, BOARD_C, HUMIDITY_PCT, MASS_G

NAME = "journal.jsonl"
FORMAT = "tilt-journal"
VERSION = 1

Angle = Annotated[float, Meta(gt=0, lt=90)]
MOST_LINES = 2**31 - 1
LineNumber = Annotated[int, Meta(ge=0, le=MOST_LINES)]


class Begin(Struct, tag="journal", tag_field="kind", frozen=True, kw_only=True):
    """The first line of a journal."""

    format: str = FORMAT
    version: int = VERSION


class _Entry(Struct, tag_field="kind", frozen=True, kw_only=True):
    """What every line says."""

    line: LineNumber = 0
    """Its number, given when it is appended."""
    at: str
    """When it was done or read: RFC 3339, UTC."""
    written_at: str = ""
    operator: str | None = None
    note: str = ""
    replaces: LineNumber | None = None
    """Number of the line that this one corrects."""
    key: str | UnsetType = UNSET
    """Of the request that asked for it, so that a request sent twice is written once."""

    def is_by(self, at: str, line: int | None = None) -> bool:
        """Whether it was done by a time; within one second, whether it was written by a line."""
        return (self.at, self.line) <= (at, line or MOST_LINES)


class Treatment(_Entry, tag="treatment", frozen=True, kw_only=True):
    """A bag was treated; `stage` is the one that begins with it."""

    bag: str
    stage: str
    recipe: str | None = None
    steps: tuple[Step, ...]


class Mass(_Entry, tag="mass", frozen=True, kw_only=True):
    """A bag was weighed: before a series, or after a treatment."""

    bag: str
    mass_g: Annotated[float, MASS_G.meta]
    conditioned_h: Annotated[float, Meta(ge=0, le=8760)] | None = None
    """Hours in the climate."""
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"


class _InAir(_Entry, frozen=True, kw_only=True):
    """A reading taken in some air."""

    temperature_c: Annotated[float, AIR_C.meta] | None = None
    relative_humidity_pct: Annotated[float, HUMIDITY_PCT.meta] | None = None
    climate_source: Literal["typed", "measured"] | None = None
    stage: str
    session: str
    """The sitting; readings and runs of one session are compared."""


class Droop(_InAir, tag="droop", frozen=True, kw_only=True):
    """Angles below the horizontal of a flattened bag laid over an edge, one for each laying."""

    bag: str
    face: str
    """The face that is up."""
    overhang_mm: Annotated[float, Meta(gt=0, le=300)]
    angles_deg: Annotated[tuple[Angle, ...], Meta(min_length=1)]
    seams: Literal["along", "across"] | None = None
    """Which way the seams run, seen from the edge."""
    reader: str | None = None


class ByPhone(Struct, frozen=True, kw_only=True):
    """One lift as a phone on the board measured it; its trace file holds the readings."""

    trace: Annotated[str, Meta(min_length=1, max_length=200)]
    """Name of the file in the study's folder `traces`."""
    series: Annotated[str, Meta(min_length=1, max_length=200)]
    """Lifts of one bag face in a row, minutes apart."""
    pace_deg_s: Annotated[float, Meta(ge=0.1, le=5)]
    """Raise rate that the person was to keep."""
    rate_deg_s: Annotated[float, Meta(ge=0, le=20)]
    """Measured, over the last 0.6 s before the tap."""
    before_tap_deg: Annotated[tuple[float, ...], Meta(min_length=13, max_length=13)]
    """Inclination of the board 0, 0.05, … 0.6 s before the tap."""
    u_fit_deg: Annotated[float, Meta(ge=0, le=20)]
    """Standard uncertainty from noise and fit; another one for each lift."""
    u_sensor_deg: Annotated[float, Meta(ge=0, le=20)]
    """From the chip's scale and offset; common to all lifts with the phone."""
    u_zero_deg: Annotated[float, Meta(ge=0, le=20)]
    """Common to all lifts after one zeroing."""


class Reading(_InAir, tag="reading", frozen=True, kw_only=True):
    """Slide angles that a person read, away from the rig, one for each slide."""

    bag: str
    face: str
    board: str
    reader: str
    angles_deg: Annotated[tuple[Angle, ...], Meta(min_length=1)]
    board_temperature_c: Annotated[float, BOARD_C.meta] | None = None
    phone: ByPhone | UnsetType = UNSET
    """The one slide was measured by a phone; `angles_deg` has it as it was shown then."""


class Wipe(_Entry, tag="wipe", frozen=True, kw_only=True):
    """A board was wiped."""

    board: str
    how: str = ""
    series: str | None = None
    """The row of the plan that asked for it."""


class Play(_Entry, tag="play", frozen=True, kw_only=True):
    """A bag was thrown between measurements."""

    bag: str
    throws: Annotated[int, Meta(ge=1, le=100_000)]
    """At a guess, if nobody counted."""


class Enough(_Entry, tag="enough", frozen=True, kw_only=True):
    """A series of the plan ended before its planned number: its mean is known well enough."""

    series: str
    """The row of the plan."""


class Correction(_Entry, tag="correction", frozen=True, kw_only=True):
    """Run files that name the wrong bag, face or board, or that do not count; `note` says why."""

    runs: Annotated[tuple[str, ...], Meta(min_length=1)]
    """Their `run_id`."""
    bag: str | None = None
    face: str | None = None
    board: str | None = None
    void: bool = False
    """The results do not count; the slides still wore the bag."""


class Confirmation(_Entry, tag="confirmation", frozen=True, kw_only=True):
    """A person has read the line in `confirms`, whose check fails, and it is right."""

    confirms: LineNumber


class Withdrawal(_Entry, tag="withdrawal", frozen=True, kw_only=True):
    """The line in `replaces` does not count; `note` says why."""


Entry = (
    Treatment
    | Mass
    | Droop
    | Reading
    | Wipe
    | Play
    | Enough
    | Correction
    | Confirmation
    | Withdrawal
)
E = TypeVar("E", bound=_Entry)


class Doubt(NamedTuple):
    """A line that reads otherwise than it was written, so that answers must wait."""

    line: int
    bag: str | None
    """Whom it is about; None if that can't be read, and then it may be about any bag."""
    sentence: str


class Journal(Struct, kw_only=True):
    """A journal as it was read."""

    lines: list[Entry] = field(default_factory=list)
    """Every line that could be read, corrected or not, in the file's order."""
    problems: list[str] = field(default_factory=list)
    """Sentences about lines that could not be read or used."""
    doubts: list[Doubt] = field(default_factory=list)
    """Lines whose check fails and that nobody has confirmed or withdrawn."""
    unchecked: int = 0
    """Lines that count and have no check."""

    def standing(self) -> Iterator[Entry]:
        """The lines that count: neither replaced nor withdrawn, in the file's order."""
        replaced = {entry.replaces for entry in self.lines if entry.replaces is not None}
        for entry in self.lines:
            if entry.line not in replaced and not isinstance(entry, Withdrawal):
                yield entry

    def of(self, kind: type[E]) -> list[E]:
        """The lines of this kind that count, in order of the time `at` which it was done."""
        chosen = [entry for entry in self.standing() if isinstance(entry, kind)]
        return sorted(chosen, key=lambda entry: entry.at)

    def treatments_of(self, bag: str) -> list[Treatment]:
        """What was done to a bag, in order of time."""
        return [entry for entry in self.of(Treatment) if entry.bag == bag]

    def stage_of(self, bag: str, at: str | None = None, line: int | None = None) -> str:
        """The stage a bag is in by its treatments alone, now or at a time (RFC 3339, UTC)."""
        done = [entry for entry in self.treatments_of(bag) if at is None or entry.is_by(at, line)]
        return done[-1].stage if done else BASELINE
