"""Every part that is made, with what a workshop needs beside its outline."""

from collections.abc import Callable
from typing import NamedTuple

from manifold3d import Manifold

from hardware.model import base, cradle, loose, small
from hardware.model.assembly import rig_of
from hardware.model.numbers import Numbers
from hardware.model.shapes import Part, block, pipe, rod, slot
from rig.settings.model import Settings


class Drawn(NamedTuple):
    """A part that is cut, drilled, turned or printed."""

    solid: Manifold
    number: int
    stock: str
    """What it is made from, in a size that is sold."""
    notes: tuple[str, ...] = ()


Of = Callable[[str], Manifold]
"""Gives the solid of the first part of a name."""
FREE = "Tolerance ±0.5 mm where nothing else is said."


def drawn(settings: Settings, n: Numbers) -> dict[str, Drawn]:
    """All of them by name."""
    rig = rig_of(settings, n)

    def of(name: str) -> Manifold:
        return next(part.solid for part in rig.parts if part.name == name)

    return (
        _wood(of, settings, n)
        | _box(of)
        | _tube(of, settings, n)
        | _cradle(of, settings, n)
        | _crank_and_prop(of, settings, n)
        | _printed(settings, n)
        | {"level_wedge": wedge()}
    )


def _wood(of: Of, settings: Settings, n: Numbers) -> dict[str, Drawn]:
    a = settings.linkage.base_pivot_mm
    ring = base.outline(settings, n)
    (left, _), low = ring[0], ring[0][1]
    corners = "; ".join(f"{x - left:.0f}, {z - low:.0f}" for x, z in ring[1:])
    return {
        "side_panel": Drawn(
            of("side panel +"), 2, "birch plywood 18 mm",
            (
                "Clamp both panels together and drill all holes through both at once.",
                f"Hinge and base pivot: {a:g} ± 1 mm apart, measured and typed into rig.toml.",
                "Holes 30 for the bars; 11 for M10 of the flange bearings, 90 mm apart;",
                "8.5 for M8 through the long rails.",
                f"Corners, from the lower left one: {corners}.",
            ),
        ),
        "back_board": Drawn(of("back board"), 1, "birch plywood 18 mm",
            ("Between the panels, three angle brackets 60 on each side.",)),
        "tie_board": Drawn(of("tie board"), 1, "birch plywood 18 mm",
            ("Between the panels, one angle bracket 60 on each side.",)),
        "crank_bracket": Drawn(of("crank bracket"), 1, "birch plywood 18 mm",
            ("On the end of the middle rail, two angle brackets 60. Hole 12 for the bush.",)),
    }  # fmt: skip


def _box(of: Of) -> dict[str, Drawn]:
    flat = "aluminium flat 80 × 15, EN AW-6060"
    return {
        "cheek": Drawn(
            of("cheek"), 2, "aluminium flat 80 × 10, EN AW-6060",
            (
                "Drill both together. Hole 20.4: the trunnion's end lies in it with play.",
                "6.6: M6 into the end plates. 5: tap M6 for the clamp flange (48 mm apart, from",
                "memory: measure the flange that you have). Ends square within 0.1 mm.",
            ),
        ),
        "top_plate": Drawn(of("top plate"), 1, flat,
            ("Both ends square and 84 ± 0.1 apart; taps M6 × 20 in them. Hole 35 by hole saw.",
             "3.3: tap M4 for the bearing unit of size 10 (circle of 42 mm, from memory).")),
        "motor_plate": Drawn(of("motor plate"), 1, flat,
            ("As the top plate, 84 ± 0.1 long. Hole 40 for the motor's pilot of 38.1; 5.5 for M5,",
             "47.14 mm apart.")),
        "trunnion": Drawn(of("trunnion"), 2, "hollow precision shaft 20 h6, bore 14",
            ("Sawn and deburred, clamped in the flange on the cheek. Two bushes in the bore of",
             "the one that the crank's shaft goes through.")),
    }  # fmt: skip


def _tube(of: Of, settings: Settings, n: Numbers) -> dict[str, Drawn]:
    m = settings.mechanics
    long = m.tube_length_mm - 12 - n.end_plate - n.head_below
    return {
        "push_tube": Drawn(of("push tube"), 1, "round steel tube 35 × 3",
            (f"{long:g} ± 0.5 long, ends square within 0.2. The nut's body of 28 slides in.",)),
        "tie_rod": Drawn(rod("z", 0, long + n.end_plate + 32, 6), 4, "threaded rod M6",
            ("Screwed 20 deep into the head; nut and washer below the foot plate.",)),
        "head": Drawn(of("head"), 1, "aluminium flat 70 × 40, EN AW-6060",
            ("Hole 12 H7: the pin slides, and comes out for transport. Pocket 26 × 15 deep below.",
             "Four holes 5.0 × 22 deep in the lower face: tap M6.")),
        "foot_plate": Drawn(of("foot plate"), 1, "aluminium flat 70 × 8, EN AW-6060",
            ("Hole 28.2 for the nut's body, 6.6 for the tie rods; screws of the nut's flange M5,",
             "drilled from the nut.")),
        "pivot_pin": Drawn(of("pivot pin"), 1, "silver steel or precision shaft 12 h6",
            ("A groove or a 3 mm hole 4 from each end: washer and split pin.",)),
    }  # fmt: skip


def _cradle(of: Of, settings: Settings, n: Numbers) -> dict[str, Drawn]:
    b = settings.linkage.cradle_pivot_mm
    return {
        "lug": Drawn(
            of("lug"), 2, "steel angle 50 × 50 × 6",
            (
                "One as drawn, one mirrored. Drill 12.5 at both ends of the slot, saw, file.",
                f"The slot is closed: the pin cannot leave. Its upper end lies {b:g} ± 1 from the",
                "hinge and in the plane of the hinge axis. One leg sawn short. 8.4 for M8.",
            ),
        ),
        "clamp_strap": Drawn(cradle.strap(n, 0).translate((0, 0, -cradle.top(n))), 4,
            "aluminium flat 30 × 15", ("Hole 6.8: tap M8 (heel screw). Cork below the toe.",)),
        "catch": Drawn(of("catch"), 1, "planed batten 20 × 36 and two pieces of 20 × 20",
            ("Felt on the uphill face. Legs screwed on the side rails with M5 and T-nuts.",)),
        "switch_plate": Drawn(of("switch plate lower"), 2, "aluminium flat 60 × 5",
            ("Slots 5.5 × 13.5 for M5 into the panel; holes for the switch from it. A screw",
             "M4 below it, in an angle, lifts it for the last tenths.")),
        "blade": Drawn(small.blade_plate(settings, n), 1, "aluminium or steel sheet of 2 mm",
            ("Stiffener 15 × 15 × 2 on the downhill side, flush with the top; 1 mm of cork on the",
             "uphill side.")),
    }  # fmt: skip


def _crank_and_prop(of: Of, settings: Settings, n: Numbers) -> dict[str, Drawn]:
    arm = {p.name: p.solid for p in loose.crank(settings, n, 0)}["crank"]
    wide, thin, each = n.prop_tubes
    outer = pipe("z", 0, each, wide, wide - 4) - rod("y", -30, 30, 10.4, (0, 14))
    outer -= rod("x", -30, 30, 8.5, (0, each - 15))
    inner = pipe("z", 0, each, thin, thin - 4) - slot("y", -30, 30, 12.4, (0, each - 8), (0, each))
    for i in range(20):
        inner -= rod("x", -30, 30, 8.5, (0, 20 + 20 * i))
    return {
        "crank_shaft": Drawn(of("crank shaft"), 1, "precision shaft 8 h6",
            ("Flats for the screws of pinion and crank. A collar and a spring outside the bracket",
             "push it out; a clip behind the collar holds it in while it is turned.")),
        "crank": Drawn(arm, 1, "steel flat 25 × 6 and a round of 22 with a bore of 8.4",
            ("Screw M6 on the shaft's flat. Knob 28 × 80 that turns on its screw.",)),
        "prop_outer": Drawn(outer, 1, "round steel tube 28 × 2",
            ("10.4 at the foot for the bolt M10, across the row of holes; 8.5 at the top.",)),
        "prop_inner": Drawn(inner, 1, "round steel tube 22 × 2",
            ("Notch 12.4 wide, 14 deep, at the top; across it holes 8.5 every 20 mm. Pin of 8 mm",
             "on a chain. Paint both red.")),
        "prop_angle": Drawn(of("prop angle"), 2, "steel angle 50 × 50 × 4, sawn to 30 × 31",
            ("12.2 for the pin of 12; two screws M6 into T-nuts. The pair is mirrored.",)),
        "prop_foot_angle": Drawn(of("prop foot angle"), 2, "steel angle 30 × 30 × 4",
            ("10 for the bolt; two coach screws 6 × 60 down into the middle rail. Mirrored.",)),
    }  # fmt: skip


def _printed(settings: Settings, n: Numbers) -> dict[str, Drawn]:
    counts = {"beam_bracket": 2, "beam_bracket_tall": 2, "blade_carriage": 2, "bush": 3}
    counts |= {"heel_cap": 4, "belt_idler": 2, "belt_clamp": 2}
    notes = {
        "cam_lower": ("Slides on the hinge bar; a screw M5 in the hub clamps it where it acts.",),
        "cam_upper": ("As the lower one, hub towards the middle.",),
        "blade_carriage": (
            "One as drawn, one mirrored. The belt's ends meet below the lug, pressed",
            "on by belt_clamp with two screws M3.",
        ),
        "belt_idler": (
            "One as drawn, one mirrored. Idler of 20 teeth, bore 5, on a screw M5 × 40;",
            "under the side rail with M5 and a T-nut, pulled down the slot until the belt sings.",
        ),
        "belt_bearing": ("Bearing 8 × 22 × 7 in the seat. Under the side rail of +y with two M5.",),
        "belt_bearing_motor": (
            "Drawn for +y, printed mirrored for -y. Bearing as there; motor with",
            "four M3, its face outside, coupling 5 to 8 mm on the shaft.",
        ),
        "belt_clamp": ("Grooves for a belt of 2 mm pitch, 6 wide; both ends side by side.",),
    }
    stock = "printed in PETG or ABS, four walls, 40 % fill"
    return {
        name: Drawn(solid, counts.get(name, 1), stock, notes.get(name, ()))
        for name, solid in small.printed(settings, n).items()
    }


WEDGE_MM = (150.0, 10.0, 40.0)
"""Length between the rollers, diameter of a roller, width."""


def wedge() -> Drawn:
    """A sine bar: a flat with two rollers; slips of known height below one of them."""
    long, round_mm, wide = WEDGE_MM
    solid = block((0, 0, round_mm), (long + 20, wide, round_mm + 15))
    for x in (10.0, long + 10):
        solid += rod("y", 0, wide, round_mm, (x, round_mm / 2 + 0.7))
    return Drawn(solid, 1, "aluminium flat 40 × 15, two dowel pins 10 m6 × 40",
        (f"Pins glued in vees, {long:g} ± 0.1 apart, measured to 0.05 over both with a caliper.",
         f"sin θ = height of the slips / {long:g}. Slips: gauge blocks, or drill shanks measured.",
         "0.05 mm are 0.02°."))  # fmt: skip


def parts_by_item(parts: list[Part]) -> dict[str, list[str]]:
    """Names of the parts of each row of the bill of materials."""
    found: dict[str, list[str]] = {}
    for part in parts:
        names = found.setdefault(part.item, [])
        if part.name not in names:
            names.append(part.name)
    return found
