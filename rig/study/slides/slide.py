"""One row of the slide table: one raise to one slide, by the rig or by hand."""

from typing import Literal, NamedTuple

from msgspec import Struct

from rig.analysis.home import HomeReading
from rig.analysis.row import RunResult
from rig.runfile.model import Flag
from rig.study.folder.catalogue import Step

Source = Literal["rig", "twin", "hand"]


class Applied(NamedTuple):
    """A treatment that the bag had had by then, as the journal says."""

    recipe: str | None
    steps: tuple[Step, ...]
    at: str
    line: int

    @property
    def name(self) -> str:
        """The recipe, or else the steps that were done."""
        return self.recipe or ", ".join(step.action for step in self.steps)


class Slide(Struct, frozen=True, kw_only=True):
    """One slide; units are in the names, None is "not known".

    Who, where and when are as corrected in the journal.
    """

    slide_id: str
    """Of the run; `line 12.2` is the second angle in line 12 of the journal."""
    source: Source | None
    """None for a run file that can't be read."""
    at: str
    """RFC 3339, UTC, whole seconds."""
    run_file: str = ""
    """Its place within the study, with forward slashes."""
    line: int | None = None
    """Of the journal."""
    rig: str | None = None
    reader: str | None = None
    operator: str | None = None
    bag: str | None = None
    model: str | None = None
    set: str | None = None
    face: str | None = None
    board: str | None = None
    role: str | None = None
    session: str | None = None
    series: str | None = None
    slide_number: int | None = None
    slides_before: int = 0
    """Slides of this face before this one, those before the study included."""
    stage: str | None = None
    treatments: tuple[Applied, ...] = ()
    """In order; what was planned is never among them."""
    planned_treatment: str | None = None
    """What the catalogue means the bag to get, for the names of steps without a recipe."""
    bag_mass_g: float | None = None
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"
    conditioned_h: float | None = None
    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    surface_humidity_pct: float | None = None
    rate_deg_s: float | None = None
    onset_angle_deg: float | None = None
    u_onset_angle_deg: float | None = None
    trace: str | None = None
    """File in `traces`, of a slide that a phone measured; the next lines are for those alone."""
    u_sensor_deg: float | None = None
    u_zero_deg: float | None = None
    u_tap_deg: float | None = None
    u_rate_deg: float | None = None
    u_random_deg: float | None = None
    """What of the uncertainty differs from lift to lift."""
    method: str | None = None
    """How the board was raised, as `quick 0.3 °/s`; None for readings of a level."""
    purpose: str | None = None
    outcome: str = "interrupted"
    flags: tuple[Flag, ...] = ()
    valid: bool = False
    """The slide counts: the analysis took it, and no correction voids it."""
    void: str = ""
    """Why a person took it out."""
    slid: bool = False
    """The bag moved over the board, so that it wore, whether the slide counts or not."""
    result: RunResult | None = None
    """What the analysis made of the run file, bag, face and board as corrected; None by hand, and
    for a file that can't be read."""
    home: HomeReading | None = None
    problems: tuple[str, ...] = ()

    @property
    def is_early(self) -> bool:
        """A slide in the quick part of the raise, known only to lie below its end."""
        return "slid_early" in self.flags and not self.void

    def __repr__(self) -> str:
        who = ", ".join(name for name in (self.bag, self.face) if name) or self.slide_id
        angle = "" if self.onset_angle_deg is None else f", {self.onset_angle_deg:.1f}°"
        return f"<Slide: {who}{angle}{'' if self.valid else ', left out'}>"
