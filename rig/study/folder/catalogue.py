"""What `study.toml` says: bags, boards, recipes, climates wanted, preferences, as typed structures.

A person may edit the file; commands only append tables to it, so comments stay. Every quantity's
name carries its unit.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from rig.settings.method import DWELL_S, RATE_DEG_S

FORMAT = "tilt-study"
VERSION = 1
TODAY = "today"
"""Name of the climate of a study that wants none."""
BASELINE = "baseline"
"""The stage of every bag before its first treatment."""

Name = Annotated[str, Meta(min_length=1, max_length=60, pattern=r"^[^\s/\\].*$")]
Text = Annotated[str, Meta(max_length=500)]
Role = Literal["treated", "control", "reference"]
RaiseStart = Literal["whole", "quick"]


class _Table(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A table of `study.toml`; a key that is not listed here is a mistake."""


class Step(_Table, frozen=True):
    """One step of a treatment: what was done, with what, how much, how warm, how long, how dried.

    The fields suit any step; those that say nothing about it are left out.
    """

    action: Annotated[str, Meta(min_length=1, max_length=60)]
    """Such as soak, wash, rinse, tumble, rub, dry."""
    agent: Text | None = None
    dose: Text | None = None
    """As measured, with its unit, such as `20 ml per litre`."""
    temperature_c: Annotated[float, Meta(ge=-20, le=250)] | None = None
    time_min: Annotated[float, Meta(gt=0, le=20160)] | None = None
    drying: Text | None = None


class Bag(_Table, frozen=True):
    """A bag as it came into the study."""

    role: Role = "treated"
    """A control is measured (and so worn) like the treated ones, and never treated."""
    set: Name | None = None
    model: Text | None = None
    faces: dict[Name, Text] = field(default_factory=lambda: {"slick": "", "grip": ""})
    """Name of each face and its fabric (empty when unknown)."""
    leading_edge: Text | None = None
    """How the edge that goes downhill is marked."""
    fill: Text | None = None
    mass_g: Annotated[float, Meta(ge=50, le=2000)] | None = None
    length_mm: Annotated[float, Meta(ge=10, le=500)] | None = None
    """Along the slide."""
    thickness_mm: Annotated[float, Meta(gt=0, le=200)] | None = None
    """Of the flattened bag."""
    fabric_thickness_mm: Annotated[float, Meta(gt=0, le=20)] | None = None
    """Of its thinner fabric."""
    history: Text = ""
    slides_before: Annotated[int, Meta(ge=0)] = 0
    """Slides on a rig before this study (wear)."""
    treatment: Name | None = None
    """Name of the recipe that the plan gives it, again at each later stage."""
    shared_as: Name | None = None
    """Its name in studies of several owners: bags with the same one are the same bag."""


class Board(_Table, frozen=True):
    """A playing surface."""

    material: Text = ""
    finish: Text = ""
    history: Text = ""
    played_angle_deg: Annotated[float, Meta(gt=0, le=45)] | None = None
    """Inclination at which it is played."""
    shared_as: Name | None = None
    """Its name in studies of several owners: boards with the same one are the same board."""


class ClimateWanted(_Table, frozen=True):
    """A climate to measure in; one without temperature and humidity is today's air."""

    temperature_c: Annotated[float, Meta(ge=-20, le=60)] | None = None
    temperature_tolerance_c: Annotated[float, Meta(gt=0, le=20)] = 2.0
    relative_humidity_pct: Annotated[float, Meta(ge=0, le=100)] | None = None
    humidity_tolerance_pct: Annotated[float, Meta(gt=0, le=50)] = 4.0

    @property
    def is_todays_air(self) -> bool:
        """True when any air will do."""
        return self.temperature_c is None and self.relative_humidity_pct is None

    def fits(self, temperature_c: float | None, relative_humidity_pct: float | None) -> bool:
        """Whether air with these means lies within the tolerances (unknown air never does)."""
        return _within(temperature_c, self.temperature_c, self.temperature_tolerance_c) and _within(
            relative_humidity_pct, self.relative_humidity_pct, self.humidity_tolerance_pct
        )


def _within(value: float | None, wanted: float | None, tolerance: float) -> bool:
    return wanted is None or (value is not None and abs(value - wanted) <= tolerance)


class Recipe(_Table, frozen=True):
    """A treatment as it is meant to be done; the journal holds what was done."""

    steps: Annotated[tuple[Step, ...], Meta(min_length=1)]
    note: Text = ""


class Target(_Table, frozen=True):
    """The slide angle that is wanted of a face."""

    angle_deg: Annotated[float, Meta(gt=0, lt=60)]
    tolerance_deg: Annotated[float, Meta(gt=0, le=20)] = 0.5


class Preferences(_Table, frozen=True):
    """How this study measures, and what it aims for; descriptions are the file's comments."""

    stages_after_baseline: Annotated[
        int,
        Meta(
            description="number of treatments of each treated bag, with runs after each",
            ge=0,
            le=50,
        ),
    ] = 1
    runs_per_series: Annotated[
        int, Meta(description="raises without a change by hand", ge=1, le=100)
    ] = 5
    series_per_session: Annotated[
        int, Meta(description="series of each bag face on each board in one session", ge=1, le=20)
    ] = 1
    sessions_per_climate: Annotated[
        int, Meta(description="sessions in each climate at each stage", ge=1, le=20)
    ] = 1
    reference_runs: Annotated[
        int,
        Meta(
            description="runs of the reference bag at each check of the board; 0: none", ge=0, le=50
        ),
    ] = 3
    check_runs: Annotated[
        int,
        Meta(
            description="runs at another rate that check the material, once a stage; 0: none",
            ge=0,
            le=50,
        ),
    ] = 0
    min_controls: Annotated[
        int,
        Meta(
            description="a plan with treatments and fewer untreated controls is refused",
            ge=0,
            le=50,
        ),
    ] = 1
    rate_deg_s: Annotated[
        float, Meta(description="raise rate of every run", ge=RATE_DEG_S[0], le=RATE_DEG_S[1])
    ] = 1.0
    raise_start: Annotated[
        RaiseStart,
        Meta(description="whole: all of the raise at that rate; quick: fast to 3° below the slide"),
    ] = "whole"
    dwell_s: Annotated[
        float, Meta(description="rest before every raise", ge=DWELL_S[0], le=DWELL_S[1])
    ] = 10.0
    change_min: Annotated[
        float, Meta(description="time to change the bag by hand, for time estimates", ge=0, le=120)
    ] = 2.0
    seed: Annotated[int, Meta(description="of the order in the plan", ge=0)] = 1
    wish_angle_deg: (
        Annotated[float, Meta(description="slide angle wanted, or leave it out", gt=0, lt=60)]
        | None
    ) = None
    wish_mu_static: (
        Annotated[float, Meta(description="coefficient wanted, or leave it out", gt=0, lt=2)] | None
    ) = None
    tolerance_deg: Annotated[
        float, Meta(description="how far from the target a slide angle may lie", gt=0, le=20)
    ] = 0.5
    may_pass: Annotated[
        float,
        Meta(description="chance of passing a target that one more treatment may have", ge=0, le=1),
    ] = 0.1


class Catalogue(_Table, frozen=True):
    """All of `study.toml`."""

    format: str
    version: int
    name: Name
    made_at: str
    """RFC 3339, UTC."""
    note: Text = ""
    experience: tuple[Annotated[str, Meta(min_length=1)], ...] = ()
    """Folders of older studies, from this one's, whose slides the model takes along."""
    preferences: Preferences = field(default_factory=Preferences)
    bags: dict[Name, Bag] = field(default_factory=dict)
    boards: dict[Name, Board] = field(default_factory=dict)
    climates: dict[Name, ClimateWanted] = field(default_factory=dict)
    treatments: dict[Name, Recipe] = field(default_factory=dict)
    targets: dict[Name, Target] = field(default_factory=dict)
    """By face; a face without one has the preferences' `wish_angle_deg`."""

    @property
    def settles(self) -> bool:
        """Whether every series begins with a settling raise."""
        return self.preferences.raise_start == "quick"

    def with_role(self, role: Role) -> list[str]:
        """Names of the bags of this role, in the file's order."""
        return [name for name, bag in self.bags.items() if bag.role == role]

    @property
    def airs(self) -> dict[str, ClimateWanted]:
        """The climates to measure in, by name; today's air where none is wanted."""
        return self.climates or {TODAY: ClimateWanted()}

    @property
    def reference(self) -> str | None:
        """The bag that watches the board; checked to be one at most when the file is read."""
        return next(iter(self.with_role("reference")), None)

    @property
    def stages(self) -> list[str]:
        """The stages that the plan goes through, in order: baseline, `after 1` and so on."""
        after = range(1, self.preferences.stages_after_baseline + 1)
        return [BASELINE, *(stage_after(number) for number in after)]


def stage_after(number: int) -> str:
    """The stage that follows the `number`-th treatment; controls pass through it untreated."""
    return f"after {number}"


def stage_number(stage: str) -> int | None:
    """0 for the baseline, n for `after n`; None for what is not the name of a stage."""
    number = stage.removeprefix("after ")
    if stage == BASELINE:
        return 0
    is_one = number.isdecimal() and number != "0" and stage == stage_after(int(number))
    return int(number) if is_one else None
