"""The tables of the page: which values of the document stand in which column."""

from typing import NamedTuple

from rig.quantities.shown import Kind


class Column(NamedTuple):
    """A column; it is left out where no row has a value for it."""

    head: str
    """`{c}`, `{mm}` and `{g}` stand for the reader's units."""
    keys: tuple[str, ...]
    """Of the row's values, joined by `joined`."""
    spec: str = ""
    """Format of the metric figure, or `chance`; texts have none."""
    kind: Kind | None = None
    joined: str = " to "

    @property
    def is_number(self) -> bool:
        """Set to the right."""
        return bool(self.spec)


def text(head: str, *keys: str) -> Column:
    """A column of names or words."""
    return Column(head, keys, joined=", ")


BAG, FACE, BOARD = text("Bag", "bag"), text("Face", "face"), text("Board", "board")
ENDS = ("lower_deg", "upper_deg")

FACES = (
    BAG,
    FACE,
    BOARD,
    text("Set", "set"),
    Column("Now, °", ("angle_deg",), ".1f"),
    Column("95 %, °", ENDS, ".1f"),
    Column("µs", ("mu_static",), ".2f"),
    Column("95 %", ("mu_lower", "mu_upper"), ".2f"),
    Column("Target, °", ("target_deg", "tolerance_deg"), ".1f", joined=" ± "),
    Column("Within", ("p_within",), "chance"),
    Column("Below", ("p_below_target",), "chance"),
    text("What to do", "said"),
)
FORECASTS = (
    BAG,
    FACE,
    text("Further", "recipe"),
    Column("Times", ("applications",), "d"),
    Column("Angle, °", ("angle_deg",), ".1f"),
    Column("95 %, °", ENDS, ".1f"),
    Column("Reaches the target", ("p_reaches",), "chance"),
    Column("Passes it", ("p_passes",), "chance"),
)
SETS = (
    text("Set", "set"),
    FACE,
    Column("Misses its target by, °", ("rms_deg",), ".1f"),
    Column("95 %, °", ENDS, ".1f"),
    Column("All within", ("p_all_within",), "chance"),
)
TREATMENTS = (
    text("Recipe", "recipe"),
    text("Model", "model"),
    FACE,
    Column("Bags", ("n_bags",), "d"),
    Column("Applications", ("n_applications",), "d"),
    Column("Effect, °", ("effect_deg",), "+.1f"),
    Column("95 %, °", ENDS, "+.1f"),
    Column("Lowers", ("p_lowers",), "chance"),
)
SLOPES = (
    text("Model", "model"),
    FACE,
    Column("Each 10 %RH more, °", ("per_10_pct_rh_deg",), "+.1f"),
    Column("95 %, °", ENDS, "+.1f"),
)
OFFSETS = (
    text("Name", "name"),
    text("Kind", "what"),
    text("Against", "against"),
    Column("Offset, °", ("offset_deg",), "+.1f"),
    Column("95 %, °", ENDS, "+.1f"),
)
SCATTER = (
    text("Between", "what"),
    Column("Standard deviation, °", ("median",), ".2f"),
    Column("95 %, °", ("lower", "upper"), ".2f"),
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
    Column("Droop, °", ("mean_angle_deg", "u_angle_deg"), ".1f", joined=" ± "),
    Column(
        "Bending length, {mm}",
        ("bending_length_peirce_mm", "u_bending_length_mm"),
        ".1f",
        "mm",
        " ± ",
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
    text("Set", "set"),
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
