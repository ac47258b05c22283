"""Assembly drawings: base, cradle, strut, hinge, clamps, cables; by the numbers of the model."""

from collections.abc import Sequence
from math import cos, radians, sin

from hardware.model import loose
from hardware.model.assembly import rig_of
from hardware.model.cradle import clamp, top
from hardware.model.shapes import ALUMINIUM, BOARD, PROFILE_40, STEEL, Group, Part, block
from hardware.tools.svg import INK, RED, THIN, Point, Sheet
from hardware.tools.views import END, PLAN, SIDE, At, cut_list, draw, longest, sawn, section
from rig.motion.clearances import pivots_mm
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings


def _placed(x0: float, y0: float, scale: float) -> At:
    def at(x: float, y: float) -> Point:
        return x0 + x * scale, y0 + y * scale

    return at


def _cuts(parts: Sequence[Part], names: Sequence[tuple[str, str]]) -> list[tuple[int, str, str]]:
    found = []
    for name, text in names:
        count, long = longest(parts, name)
        found.append((count, f"{long:.0f}", text))
    return found


def frame(settings: Settings) -> str:
    """The base from above and from the side, with feet and cut list; 1:10."""
    rig = rig_of(settings)
    n, parts = rig.numbers, rig.of(Group.BASE)
    wood = [p for p in parts if p.name not in ("electronics box", "stop box")]
    sheet = Sheet(300, 232, f"Base, mm (1:10) — {settings.name}")
    h = settings.mechanics.hinge_height_mm
    _, (bx, bz) = pivots_mm(settings, 0)
    plan, side = _placed(50, 142, 0.1), _placed(50, 18, 0.1)
    draw(sheet, wood, PLAN, plan)
    draw(sheet, wood, SIDE, side)
    reach = n.cross_half
    for i, x in enumerate(n.cross_rails[1:]):
        sheet.dimension(plan(0, reach), plan(x, reach), f"{x:g}", 5 + 6 * i)
    low = n.cross_rails[0]
    sheet.dimension(plan(low, reach), plan(0, reach), f"{-low:g}", 5)
    right = n.long_rail[1]
    sheet.dimension(plan(right, -n.foot_y), plan(right, n.foot_y), f"feet {2 * n.foot_y:g}", -14)
    inner = n.panel_inner
    sheet.dimension(plan(right, -inner), plan(right, inner), f"{2 * inner:g} inside", -6)
    sheet.dimension(plan(low, -reach), plan(low, reach), f"{2 * reach:g}", 8)
    sheet.line(plan(0, -reach), plan(0, reach), 0.25, THIN, "4 2")
    sheet.dimension(side(-260, 0), side(-260, h), f"hinge {h:g}", 6)
    sheet.dimension(side(right + 20, 0), side(right + 20, h + bz), f"{h + bz:.1f}", -8)
    sheet.dimension(side(0, 0), side(bx, 0), f"{bx:.1f} base pivot", -4)
    sheet.dimension(side(low, 0), side(0, 0), f"{-low:g}", -4)
    sheet.dimension(side(0, h), side(bx, h + bz), f"a = {settings.linkage.base_pivot_mm:g}", 8)
    sheet.text(side(right + 20, 20), "floor", 2.8, "start", THIN)
    cuts = _cuts(
        parts,
        [
            ("long rail", "long rail, timber 38 × 89 on edge"),
            ("cross rail", "cross rail, 38 × 89 on edge, on feet"),
            ("middle rail", "middle rail, 38 × 89 on edge"),
            ("stop post", "post of the emergency stop, 38 × 89"),
        ],
    )
    for name in ("side panel", "back board", "tie board", "crank bracket"):
        count, size = sawn(parts, name)
        cuts.append((count, size, f"{name}, plywood {n.ply:g}"))
    cut_list(sheet, (208, 74), cuts)
    return sheet.render()


def cradle(settings: Settings) -> str:
    """The cradle from above without the board, and from the uphill end; 1:10 and 1:5."""
    rig = rig_of(settings)
    n = rig.numbers
    hidden = ("catch", "clamp strap", "clamp knob", "clamp bolt", "clamp heel screw")
    parts = [p for p in rig.of(Group.CRADLE) if p.name not in hidden]
    sheet = Sheet(280, 214, f"Cradle, profile, mm (1:10) — {settings.name}")
    plan = _placed(34, 138, 0.1)
    draw(sheet, parts, PLAN, plan)
    end, half = settings.board.length_mm, settings.board.width_mm / 2
    for a, b in (((0, -half), (end, -half)), ((0, half), (end, half)), ((0, -half), (0, half))):
        sheet.line(plan(*a), plan(*b), 0.25, THIN, "4 2")
    sheet.line(plan(end, -half), plan(end, half), 0.25, THIN, "4 2")
    sheet.text(plan(end - 10, half - 30), "board", 2.6, "end", THIN)
    sheet.line(plan(0, -430), plan(0, 430), 0.25, INK, "6 2 1 2")
    sheet.text(plan(-20, 410), "hinge", 2.6, "end")
    for i, x in enumerate(n.crossbars):
        sheet.dimension(plan(0, 400), plan(x, 400), f"{x:g}", 3 + 5.5 * i)
    for i, x in enumerate(n.outriggers):
        sheet.dimension(plan(0, -400), plan(x, -400), f"{x:g}", -3 - 5.5 * i)
    reach = n.stub_y[1]
    sheet.dimension(plan(end, -n.rail_y), plan(end, n.rail_y), f"{2 * n.rail_y:g}", -6)
    sheet.dimension(plan(end, -n.side_y), plan(end, n.side_y), f"{2 * n.side_y:g}", -13)
    sheet.dimension(plan(end, -reach), plan(end, reach), f"{2 * reach:g}", -20)
    sheet.dimension(plan(0, -n.side_y), plan(n.side_ends[0], -n.side_y), f"{n.side_ends[0]:g}", 6)
    cuts = _cuts(
        parts,
        [
            ("cradle rail", "rail, profile 40 × 40"),
            ("crossbar", "crossbar 40 × 40, between the rails"),
            ("clamp stub", "clamp stub 40 × 40, outside the rails"),
            ("prop stub", "prop stub 40 × 40"),
            ("outrigger", "outrigger 20 × 20, under the rails"),
            ("side rail", "side rail 20 × 20, on the outriggers"),
            ("hinge bar", "hinge bar, round 20 h6"),
        ],
    )
    cut_list(sheet, (178, 62), cuts)
    across = _placed(84, 44, 0.18)
    near = [p for p in rig.of(Group.CRADLE) if p.name != "catch"]
    draw(sheet, [*rig.of(Group.BOARD), *near], END, across)
    sheet.text((84, 10), "seen from the uphill end, board on (1:5.6)", 2.8, colour=THIN)
    return sheet.render()


def strut(settings: Settings) -> str:
    """Section along the strut with the board level, its parts named; 1:3."""
    rig = rig_of(settings)
    m, n = settings.mechanics, rig.numbers
    shortest = Kinematics(settings.linkage, settings.screw).length_mm(
        settings.linkage.home_angle_deg
    )
    sheet = Sheet(280, 124, f"Strut, section, board level, mm (1:3) — {settings.name}")
    scale, x0, y0 = 1 / 3, 74.0, 62.0

    def lying(dx: float) -> At:
        # along the strut to the right, across it up
        return lambda x, y: (x0 + (y + dx) * scale, y0 - x * scale)

    for group, shift in ((Group.BOX, 0.0), (Group.TUBE, shortest)):
        section(sheet, rig.of(group), SIDE, 0.01, lying(shift), 0.2)

    def mark(s: float, text: str, level: float) -> None:
        sheet.line((x0 + s * scale, y0), (x0 + s * scale, y0 + level - 2), 0.18, THIN)
        sheet.text((x0 + s * scale, y0 + level), text, 2.5, "middle")

    for s, text, level in (
        (-120, "motor", 24), (-60, "motor plate", 30), (-31, "coupling", 24),
        (0, "base pivot, bevel gears", 36), (52, "top plate", 24), (66, "bearing unit", 30),
        (shortest - m.tube_length_mm + 10, "nut", 24),
        (shortest - m.tube_length_mm + 16, "foot plate", 36),
        (300, "tube, screw in it", 24), (shortest - 20, "head", 24), (shortest, "pin", 30),
    ):  # fmt: skip
        mark(s, text, level)
    y = y0 - 18

    def long(a: float, b: float, text: str, down: float) -> None:
        sheet.dimension((x0 + a * scale, y), (x0 + b * scale, y), text, -down)

    tip = m.screw_start_mm + m.screw_length_mm
    long(0, shortest, f"{shortest:.1f} between the pivots", 30)
    long(0, m.screw_start_mm, f"{m.screw_start_mm:g}", 2)
    long(m.screw_start_mm, tip, f"thread {m.screw_length_mm:g}", 2)
    long(shortest - m.tube_length_mm, shortest, f"{m.tube_length_mm:g}", 9)
    long(-m.motor_overhang_mm, 0, f"{m.motor_overhang_mm:g}", 9)
    long(n.motor_at, n.top_plate_at + n.plate, f"{n.top_plate_at + n.plate - n.motor_at:g}", 16)
    nut = shortest - m.tube_length_mm
    long(m.screw_start_mm, nut, f"{nut - m.screw_start_mm:.1f}", 22)
    sheet.text((8, 8), "The tie rods lie beside this plane. Thread and nut dry.", 2.8, "start")
    return sheet.render()


def hinge(settings: Settings) -> str:
    """Section through the hinge across the rig, seen uphill; 1:2."""
    rig = rig_of(settings)
    n = rig.numbers
    parts = [p._replace(solid=rig.placed(p.solid, p.group, 0)) for p in rig.of(
        Group.BASE, Group.CRADLE, Group.BOARD)]  # fmt: skip
    parts = [p for p in parts if p.name not in ("stop box", "stop post", "electronics box")]
    sheet = Sheet(270, 172, f"Hinge, section across, mm (1:2) — {settings.name}")
    h = settings.mechanics.hinge_height_mm
    at = _placed(135, 96 - h / 2, 0.5)
    window = block((-60, -236, h - 130), (4000, 236, h + 110))
    cut = [p._replace(solid=p.solid ^ window) for p in parts]
    section(sheet, [p for p in cut if not p.solid.is_empty()], END, 2.0, at, 0.25)
    sheet.dimension(at(-n.rail_y, h + 92), at(n.rail_y, h + 92), f"{2 * n.rail_y:g} rails", 6)
    y = n.panel_inner
    sheet.dimension(at(-y, h - 110), at(y, h - 110), f"{2 * y:g}", -9)
    sheet.dimension(at(-n.cam_y, h - 110), at(n.cam_y, h - 110), f"{2 * n.cam_y:g} cams", -17)
    sheet.dimension(at(215, h), at(215, h + n.rail_low), f"{n.rail_low:g}", -8)
    sheet.dimension(at(215, h + n.rail_low), at(215, h + top(n)), f"{n.rail:g}", -8)
    for y, z, text in (
        (0, h + 16, "hinge bar 20"), (-150, h - 44, "flange bearing"),
        (150, h - 44, "flange bearing"), (-206, h - 30, "shaft support"),
        (206, h - 30, "shaft support"), (70, h + 44, "cam"), (-70, h + 44, "cam"),
        (0, h - 70, "switches S2, S3 on plates with slots"),
    ):  # fmt: skip
        sheet.text(at(y, z), text, 2.6)
    sheet.text(
        (8, 10),
        "Set each cam with its hub's screw, the last tenths with the switch plate: the lower "
        f"switch opens at {settings.linkage.home_angle_deg:g}°, the upper at "
        f"{settings.linkage.travel_deg:g}°.",
        2.9,
        "start",
    )
    return sheet.render()


def clamps(settings: Settings) -> str:
    """A clamp with sheets of 9 and 25 mm and with an underframe, seen along the board; 1:2.5."""
    rig = rig_of(settings)
    n, half = rig.numbers, settings.board.width_mm / 2
    sheet = Sheet(270, 118, "Clamp on its stub, mm (1:2.5)")
    for i, (thick, frame_mm) in enumerate(((9.0, 0.0), (25.0, 0.0), (n.board_thick, 89.0))):
        whole = thick + frame_mm
        at = _placed(24 + 80 * i - 196 * 0.4, 26 - 31 * 0.4, 0.4)
        stub = block((-20, n.stub_y[0], n.rail_low), (20, n.stub_y[1], top(n)))
        board = block((-20, 196, top(n) + frame_mm), (20, half, top(n) + whole))
        solids = [(stub, PROFILE_40), (board, BOARD)]
        if frame_mm:
            solids.append((block((-20, half - 38, top(n)), (20, half, top(n) + frame_mm)), BOARD))
        materials = {"strap": ALUMINIUM, "bolt": STEEL, "knob": PROFILE_40, "heel screw": STEEL}
        solids += [(solid, materials[name]) for name, solid in clamp(n, whole).items()]
        parts = [Part("", "", Group.LOOSE, solid, material) for solid, material in solids]
        draw(sheet, parts, END, at, 0.3)
        text = f"sheet of {thick:g}" if not frame_mm else "underframe of 89"
        sheet.text((44 + 84 * i, 16), text, 3)
        long = 60 if not frame_mm else 160
        sheet.text((44 + 84 * i, 10), f"T-bolt M8 × {long}, heel screw M8 × {long - 20}", 2.6)
    return sheet.render()


def cables(settings: Settings) -> str:
    """Side view at 20° with the way of the cables; 1:10."""
    rig = rig_of(settings)
    sheet = Sheet(230, 156, f"Cables, side view at 20° (1:10) — {settings.name}")
    at = _placed(52, 22, 0.1)
    parts = [*rig.at(20), *loose.rollers(settings, rig.numbers, 20)]
    draw(
        sheet, [p._replace(material=p.material._replace(colour="#eef1f4")) for p in parts], SIDE, at
    )

    def on_cradle(x: float, z: float) -> Point:
        t, h = radians(20), settings.mechanics.hinge_height_mm
        return at(x * cos(t) - z * sin(t), h + x * sin(t) + z * cos(t))

    h = settings.mechanics.hinge_height_mm
    route = [on_cradle(820, 40), on_cradle(820, 26), on_cradle(60, 26)]
    loop = [at(-40, h - 60), at(-92, h - 130), at(-60, h - 200), at(0, h - 250)]
    down = [at(0, 215), at(950, 215), at(950, 300)]
    sheet.polyline([*route, *loop, *down], 0.9, RED)
    sheet.polyline([at(-30, h - 90), at(0, h - 250)], 0.9, RED)
    sheet.polyline([at(930, 130), at(980, 150), at(1000, 230)], 0.9, RED)
    for place, text in (
        (
            at(300, 1080),
            "1 sensor, beams, blade: in the lower slot of the rail, tied every 150",
        ),
        (at(-60, h - 280), "2 loop of 150 radius at the hinge: tied to rail and to panel"),
        (at(300, 190), "3 on the long rail, 40 from motor cable"),
        (at(500, 60), "4 motor: loop at the base pivot"),
    ):
        sheet.text(place, text, 2.8, "middle" if text[0] == "1" else "start", RED)
    sheet.text((8, 8), "Sensor cable on the far side (+y), beside the box; S1's cable along the "
               "lower cross rail. Screens to 0 V at the box only.", 2.8, "start")  # fmt: skip
    return sheet.render()


ASSEMBLIES = {
    "frame.svg": frame,
    "cradle.svg": cradle,
    "strut.svg": strut,
    "hinge.svg": hinge,
    "clamps.svg": clamps,
    "cables.svg": cables,
}
