"""The tables of the page: which values of the document stand in which column."""

from typing import NamedTuple

from rig.quantities.shown import Kind
from rig.study.answer.bags import STEPS_AHEAD

RANGE, PLUS_MINUS = "{} ({} to {})", "{} ± {}"


class Column(NamedTuple):
    """A column; it is left out where no row has a value for it."""

    head: str
    """`{c}`, `{mm}` and `{g}` stand for the reader's units."""
    keys: tuple[str, ...]
    """Of the row's values; a dot goes a level down."""
    spec: str = ""
    """Format of the metric figure, or `chance`; texts have none."""
    kind: Kind | None = None
    form: str = "{}"
    """Of all values together; where one is missing the first stands alone."""
    is_context: bool = False
    """Left out where all rows say the same."""

    @property
    def is_number(self) -> bool:
        """Set to the right."""
        return bool(self.spec)


def text(head: str, key: str, *, is_context: bool = False) -> Column:
    """A column of names or words."""
    return Column(head, (key,), is_context=is_context)


def chance(head: str, key: str) -> Column:
    """A column of chances."""
    return Column(head, (key,), "chance")


def ranged(head: str, key: str, spec: str = ".1f", within: str = "") -> Column:
    """A median with its 95 % interval; `within` is the key of what holds all three."""
    keys = (f"{within}{key}", f"{within}lower_deg", f"{within}upper_deg")
    return Column(head, keys, spec, form=RANGE)


BAG, FACE, SET = text("Bag", "bag"), text("Face", "face"), text("Set", "set")
MODEL = text("Model", "model", is_context=True)

FACES = (
    BAG,
    FACE,
    text("Board", "board", is_context=True),
    text("Set", "set", is_context=True),
    ranged("Now, °", "angle_deg"),
    Column("µs", ("mu_static", "mu_lower", "mu_upper"), ".2f", form=RANGE),
    Column("Target, °", ("target_deg", "tolerance_deg"), ".1f", form=PLUS_MINUS, is_context=True),
    chance("Within", "p_within"),
    chance("Below", "p_below_target"),
    text("What to do", "said"),
)
FORECASTS = (
    BAG,
    FACE,
    text("Recipe", "recipe"),
    *(
        column
        for step in range(STEPS_AHEAD)
        for column in (
            ranged(f"{step + 1} more, °", "angle_deg", within=f"steps.{step}."),
            chance("Within", f"steps.{step}.p_reaches"),
            chance("Below", f"steps.{step}.p_passes"),
        )
    ),
)
SETS = (
    SET,
    FACE,
    ranged("Misses its target by, °", "rms_deg"),
    chance("All within", "p_all_within"),
)
TREATMENTS = (
    text("Recipe", "recipe"),
    MODEL,
    FACE,
    Column("Bags", ("n_bags",), "d"),
    Column("Applications", ("n_applications",), "d"),
    ranged("Effect, °", "effect_deg", "+.1f"),
    chance("Lowers", "p_lowers"),
)
SLOPES = (
    FACE,
    MODEL,
    ranged("Each 10 %RH more, °", "per_10_pct_rh_deg", "+.1f"),
)
OFFSETS = (
    text("Name", "who"),
    text("Kind", "what"),
    text("Against", "against"),
    ranged("Offset, °", "offset_deg", "+.1f"),
)
SCATTER = (
    text("Between", "what"),
    Column("Standard deviation, °", ("median", "lower", "upper"), ".2f", form=RANGE),
)
SESSIONS = (
    text("Session", "session"),
    text("Date", "date"),
    Column("Slides", ("n_slides",), "d"),
    Column("Air, {c}", ("temperature_c",), ".1f", "c"),
    Column("Air, %RH", ("relative_humidity_pct",), ".0f"),
    Column("At the board, %RH", ("surface_humidity_pct",), ".0f"),
    Column("Water, g/m³", ("absolute_humidity_g_m3",), ".1f"),
    Column("Dew point, {c}", ("dew_point_c",), ".1f", "c"),
)
DROOPS = (
    BAG,
    text("Face up", "face"),
    text("Stage", "stage"),
    Column("Over the edge, {mm}", ("overhang_mm",), ".0f", "mm"),
    Column("Layings", ("n_layings",), "d"),
    Column("Droop, °", ("mean_angle_deg", "u_angle_deg"), ".1f", form=PLUS_MINUS),
    Column(
        "Bending length, {mm}",
        ("bending_length_peirce_mm", "u_bending_length_mm"),
        ".1f",
        "mm",
        PLUS_MINUS,
    ),
)
BUDGET = (
    text("Component", "name"),
    Column("u", ("u_value",), ".2g"),
    text("Unit", "unit"),
    Column("Degrees per unit", ("sensitivity",), ".2g"),
    Column("u of the angle, °", ("u_theta_deg",), ".3f"),
    text("Layer", "layer"),
)
U_INCLINATION = (
    Column("Inclination, °", ("angle_deg",), ".0f"),
    Column("u, °", ("u_angle_deg",), ".3f"),
)
BAGS = (
    BAG,
    text("Role", "role"),
    text("Treatment", "treatment"),
    text("Model", "model"),
    SET,
    Column("Mass, {g}", ("mass_g",), ".0f", "g"),
    text("Faces", "fabrics"),
)
DONE = (
    BAG,
    text("Begins", "stage"),
    text("Date", "date"),
    text("Recipe", "recipe"),
    text("Steps", "steps"),
)
