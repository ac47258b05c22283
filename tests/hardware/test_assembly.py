"""The rig as drawn: nothing runs into anything over the travel, and what must hold holds."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from math import atan2, cos, degrees, hypot, radians, sin
from pathlib import Path

import msgspec
import pytest
from manifold3d import Manifold

from hardware.model import belt, loose
from hardware.model.assembly import TOUCH_MM3, Rig
from hardware.model.cradle import clamp, cradle, framed_board, lug, top
from hardware.model.numbers import NUMBERS, Numbers
from hardware.model.shapes import Group, Part, block, rod, union
from hardware.tools.readme import FASTENERS_KG
from rig.motion.clearances import pivots_mm
from rig.settings.load import load_settings
from rig.settings.model import Settings
from tests.motion.changed import changed

pytestmark = pytest.mark.long


HARDWARE = Path(__file__).parents[2] / "hardware"
SETTINGS = Settings()
RIG = Rig(SETTINGS)
TRAVEL = range(47)
FINGER_MM = 25.0
"""ISO 13854:2017, quoted second-hand: a finger 25 mm, a hand 100, an arm 120."""
BASE_FASTENERS_KG = 1.3


def meet(one: Manifold, other: Manifold) -> bool:
    return bool((one ^ other).volume() > TOUCH_MM3)


def hits(solid: Manifold, angle_deg: float, *groups: Group) -> bool:
    """Whether a solid runs into any of some groups; one by one is quicker than their union."""
    return any(meet(solid, RIG.whole(angle_deg, group)) for group in groups)


ALL = (Group.BASE, Group.CRADLE, Group.BOARD, Group.BOX, Group.TUBE)


@pytest.mark.parametrize("angle_deg", TRAVEL)
def test_nothing_runs_into_anything(angle_deg: int) -> None:
    assert RIG.collisions(angle_deg) == []


def test_no_two_parts_fill_the_same_place() -> None:
    assert RIG.overlaps() == []


def test_every_part_is_a_solid() -> None:
    assert len(RIG.parts) > 90
    assert all(part.solid.volume() > 100 for part in RIG.parts)


# one dimension put back to what an earlier drawing had, or to where it cannot be


@pytest.mark.parametrize(
    ("numbers", "settings", "named"),
    [
        (replace(NUMBERS, head_above=75.0), {}, "board in head"),
        (replace(NUMBERS, slot=11.0), {}, "pivot pin"),
        (replace(NUMBERS, lug_inner=32.0), {}, "head"),
        (replace(NUMBERS, rail_low=0.0), {}, "in crossbar"),
        (NUMBERS, {"mechanics": {"screw_length_mm": 425.0}}, "tip washer in head"),
        (NUMBERS, {"mechanics": {"tube_length_mm": 435.0}}, "nut"),
        (NUMBERS, {"mechanics": {"motor_overhang_mm": 400.0}}, "motor"),
        (replace(NUMBERS, crossbars=(60.0, 498.0, 1100.0)), {}, "in crossbar"),
    ],
)
def test_one_dimension_put_back_is_seen(
    numbers: Numbers, settings: dict[str, dict[str, float]], named: str
) -> None:
    rig = Rig(changed(**settings), numbers)

    def found() -> Iterator[str]:
        yield from rig.collisions(0)
        yield from rig.collisions(45)
        yield from rig.overlaps()
        floor = block((-2000, -900, -500), (3000, 900, 0))
        if meet(rig.whole(45, Group.BOX), floor):
            yield "motor below the floor"

    assert any(named in text for text in found())


# the tube's pin in the closed slots


def pin_in_cradle(drop_mm: float) -> Manifold:
    """The pin, in the cradle's frame, this far below its seat."""
    reach = NUMBERS.lug_inner + NUMBERS.lug_thick + 8
    return rod("y", -reach, reach, NUMBERS.pin, (SETTINGS.linkage.cradle_pivot_mm, -drop_mm))


def test_the_pin_leaves_its_seat_when_the_cradle_is_held_but_not_the_slot() -> None:
    solid = lug(SETTINGS, NUMBERS)
    run = NUMBERS.slot_run
    for drop in (0.0, run / 3, run):
        assert not meet(pin_in_cradle(drop), solid)
    for drop in (-1.0, run + 1.5):
        assert meet(pin_in_cradle(drop), solid)
    assert run >= 100


def test_a_slot_that_is_open_below_is_seen() -> None:
    open_slot = lug(SETTINGS, replace(NUMBERS, lug_below=100.0))
    assert not meet(pin_in_cradle(NUMBERS.slot_run + 8), open_slot)


@pytest.mark.parametrize("angle_deg", [15, 30, 46])
def test_the_strut_stays_clear_while_its_pin_is_down_in_the_slot(angle_deg: int) -> None:
    """The cradle held, the screw drawn in: the strut leans after its pin."""
    turn, h = radians(angle_deg), SETTINGS.mechanics.hinge_height_mm
    b, drop = SETTINGS.linkage.cradle_pivot_mm, NUMBERS.slot_run - 1
    pin = (b * cos(turn) + drop * sin(turn), h + b * sin(turn) - drop * cos(turn))
    _, (bx, bz) = pivots_mm(SETTINGS, 0)
    base = (bx, h + bz)
    length = hypot(pin[0] - base[0], pin[1] - base[1])
    nut = length - SETTINGS.mechanics.tube_length_mm
    assert nut > SETTINGS.mechanics.screw_start_mm, "else the screw ends before the slot does"
    lean = degrees(atan2(pin[0] - base[0], pin[1] - base[1]))
    tube = union(p.solid for p in RIG.of(Group.TUBE)).rotate((0, lean, 0))
    tube = tube.translate((pin[0], 0, pin[1]))
    assert not meet(tube, RIG.whole(angle_deg, Group.CRADLE, Group.BASE))


# hands


def test_an_arm_has_room_under_the_lowered_cradle() -> None:
    """Uphill of the hinge's own corner, which is covered; the strut's middle stands apart."""
    least = SETTINGS.mechanics.lowered_gap_mm
    moving = [p.solid for p in RIG.of(Group.CRADLE) if p.name != "lug"]
    placed = [RIG.placed(s, Group.CRADLE, 0) for s in moving]
    beyond = union(s.trim_by_plane((1, 0, 0), 425.0) for s in placed)
    assert beyond.min_gap(RIG.whole(0, Group.BASE), 300) >= least


def test_a_finger_has_room_everywhere_but_at_the_hinge() -> None:
    moving = RIG.whole(0, Group.CRADLE, Group.BOARD).trim_by_plane((1, 0, 0), 70.0)
    assert moving.min_gap(RIG.whole(0, Group.BASE), 100) >= FINGER_MM


def test_the_swinging_motor_leaves_a_finger_of_room() -> None:
    keep = ("motor", "cheek", "motor plate")
    near = RIG.whole(0, Group.BASE).trim_by_plane((1, 0, 0), 700.0)
    for angle in (0, 46):
        parts = [p for p in RIG.of(Group.BOX) if p.name in keep]
        swing = union(RIG.placed(p.solid, p.group, angle) for p in parts)
        assert swing.min_gap(near, 60) >= FINGER_MM


# prop and crank


@pytest.mark.parametrize("angle_deg", range(0, 47, 2))
def test_the_prop_stands_free_and_the_crank_turns_beside_it(angle_deg: int) -> None:
    prop = union(p.solid for p in loose.prop(SETTINGS, NUMBERS, angle_deg))
    assert not hits(prop, angle_deg, *ALL)
    hand = loose.hand_space(SETTINGS, NUMBERS)
    assert not hits(hand, angle_deg, Group.BASE, Group.CRADLE, Group.BOARD, Group.TUBE)
    assert not meet(hand, prop)
    assert hand.bounding_box()[2] > FINGER_MM, "above the floor"


def test_the_crank_is_turned_from_outside() -> None:
    """All of it, and the hand, lie beyond the board's edge and beyond the beam brackets."""
    hand = loose.hand_space(SETTINGS, NUMBERS).bounding_box()
    assert hand[4] < -SETTINGS.board.width_mm / 2 - 100
    for turned in (0, 90, 200):
        for part in loose.crank(SETTINGS, NUMBERS, turned):
            assert part.solid.bounding_box()[4] < -SETTINGS.board.width_mm / 2 - 100


def test_the_crank_meshes_pushed_in_and_is_free_pulled_out() -> None:
    def pair(numbers: Numbers) -> tuple[Manifold, Manifold]:
        parts = {p.name: p.solid for p in Rig(SETTINGS, numbers).of(Group.BOX)}
        return parts["bevel gear"], parts["bevel pinion"]

    gear, pinion = pair(NUMBERS)
    assert gear.min_gap(pinion, 30) >= 2.0
    gear, pinion = pair(replace(NUMBERS, crank_parked=0.0))
    assert gear.min_gap(pinion, 30) < 1.0


def test_the_prop_reaches_from_level_to_the_upper_switch() -> None:
    each = NUMBERS.prop_tubes[2]
    lengths = []
    for angle in TRAVEL:
        (fx, fz), (px, pz) = loose.prop_line(SETTINGS, NUMBERS, angle)
        lengths.append(hypot(px - fx, pz - fz))
    assert all(b > a for a, b in pairwise(lengths)), "the higher, the longer: it cannot slip down"
    assert lengths[0] > each + 15
    assert lengths[-1] < 2 * each - 60, "the tubes stay in each other by three widths"


# the blade


def in_cradle(*names: str) -> Manifold:
    """Parts of the cradle and the board, those of some names left out."""
    parts = RIG.of(Group.CRADLE, Group.BOARD)
    return union(p.solid for p in parts if p.name not in names)


@pytest.mark.parametrize("place_mm", [300.0, 420.0, 540.0, 599.0])
def test_the_blade_passes_everything_on_its_way(place_mm: float) -> None:
    """From the catch's place, where it parks, to where its back face has cleared the beam."""
    reach = SETTINGS.beam.position_mm + SETTINGS.blade.thickness_mm + SETTINGS.blade.overshoot_mm
    assert place_mm <= reach
    drive = union(p.solid for p in belt.drive(NUMBERS))
    others = in_cradle("catch")
    for part in loose.blade(SETTINGS, NUMBERS, place_mm):
        assert not meet(part.solid, others), part.name
        assert not meet(part.solid, drive), part.name


def test_the_blades_carriages_sit_on_their_rails_and_reach_their_belts() -> None:
    rails = union(p.solid for p in RIG.parts if p.name == "side rail")
    drive = [p.solid for p in belt.drive(NUMBERS) if p.name == "belt"]
    parts = [p for p in loose.blade(SETTINGS, NUMBERS, 450.0) if p.name != "blade"]
    carriages = [p.solid for p in parts if p.name == "blade carriage"]
    assert len(carriages) == len(drive) == 2
    for carriage in carriages:
        for aside in (-1.5, 1.5):
            assert meet(carriage.translate((0, aside, 0)), rails), "it is led on both sides"
        assert any(carriage.min_gap(one, 5.0) < 0.3 for one in drive)
    for pressed in (p.solid for p in parts if p.name == "belt clamp"):
        assert any(pressed.min_gap(one, 5.0) < 0.3 for one in drive)


def test_what_drives_the_blade_runs_into_nothing() -> None:
    parts = list(belt.drive(NUMBERS))
    others = in_cradle()
    for part in parts:
        assert not meet(part.solid, others), part.name
    turning = {"belt", "pulley", "blade shaft"}
    for i, part in enumerate(parts):
        for other in parts[i + 1 :]:
            if not {part.name, other.name} <= turning:
                assert not meet(part.solid, other.solid), (part.name, other.name)
    moved = belt.idler_holder(NUMBERS).translate((-20, 0, 0))
    assert meet(moved, others), "a holder that is not at its place is seen"
    whole = union(part.solid for part in parts)
    for angle in (0, 20, 46):
        placed = RIG.placed(whole, Group.CRADLE, angle)
        assert not hits(placed, angle, Group.BASE, Group.BOX, Group.TUBE)
        assert not meet(placed, union(p.solid for p in loose.prop(SETTINGS, NUMBERS, angle)))
        assert not meet(placed, loose.hand_space(SETTINGS, NUMBERS))


def test_a_turn_of_the_shaft_is_the_blades_lead() -> None:
    assert load_settings(HARDWARE / "blade.toml").blade.lead_mm == 20 * 2.0


# boards


@pytest.mark.parametrize("thick_mm", [9.0, 12.0, 15.0, 18.0, 25.0])
def test_a_clamp_holds_a_sheet_between_strap_and_stub(thick_mm: float) -> None:
    half = SETTINGS.board.width_mm / 2
    sheet = block((-300, -half, top(NUMBERS)), (300, half, top(NUMBERS) + thick_mm))
    stub = block((-20, NUMBERS.stub_y[0], 31), (20, NUMBERS.stub_y[1], top(NUMBERS)))
    parts = clamp(NUMBERS, thick_mm)
    assert not any(meet(solid, sheet) for solid in parts.values())
    held = (parts["strap"].translate((0, 0, -1)) ^ sheet).volume()
    assert held >= 25 * 30, "the strap lies on the board over 25 mm"
    assert (stub.translate((0, 0, 1)) ^ sheet).volume() >= 0.99 * 40 * 80, "the stub bears it"
    low, high = NUMBERS.strap_toe_y, half
    bolt = NUMBERS.strap_bolt_y
    assert low < high < bolt - 4 < NUMBERS.strap_heel_y
    assert NUMBERS.strap_heel_y + 8 <= NUMBERS.stub_y[1]


def test_a_strap_that_ends_at_the_edge_holds_nothing() -> None:
    half = SETTINGS.board.width_mm / 2
    sheet = block((-300, -half, top(NUMBERS)), (300, half, top(NUMBERS) + 15))
    short = clamp(replace(NUMBERS, strap_toe_y=306.0), 15.0)["strap"]
    assert not meet(short.translate((0, 0, -1)), sheet)


def framed() -> list[Part]:
    """The cradle with a board that has an underframe, and clamps for it."""
    parts = [p for p in cradle(SETTINGS, NUMBERS) if p.item not in ("clamps", "catch", "beam")]
    parts = [p for p in parts if p.item != "beam brackets"]
    tall = 89.0 + NUMBERS.board_thick
    for x in (NUMBERS.crossbars[0], NUMBERS.crossbars[2]):
        for solid in clamp(NUMBERS, tall).values():
            parts.append(parts[0]._replace(name="clamp", solid=solid.translate((x, 0, 0))))
    return parts


def test_a_board_with_underframe_and_folded_legs_lies_on_the_stubs() -> None:
    (board,) = framed_board(SETTINGS, NUMBERS)
    assert [p.name for p in framed() if meet(p.solid, board.solid)] == []
    for x in (NUMBERS.crossbars[0], NUMBERS.crossbars[2]):
        skirt = block((x - 20, 267, 31), (x + 20, 305, top(NUMBERS) + 1))
        assert (skirt ^ board.solid).volume() >= 0.99 * 40 * 38, "the skirt bears on the stub"


@pytest.mark.parametrize("angle_deg", [0, 20, 46])
def test_a_board_with_underframe_runs_into_nothing(angle_deg: int) -> None:
    (board,) = framed_board(SETTINGS, NUMBERS)
    moving = union([board.solid, *(p.solid for p in framed())])
    moving = RIG.placed(moving, Group.CRADLE, angle_deg)
    assert not meet(moving, RIG.whole(angle_deg, Group.BASE, Group.BOX, Group.TUBE))


def test_the_beam_is_free_from_eye_to_eye() -> None:
    line = top(NUMBERS) + NUMBERS.board_thick + SETTINGS.beam.height_mm
    reach = NUMBERS.side_y + 5
    for x in (540.0, 590.0):
        beam = rod("y", -reach, reach, 4, (x, line))
        assert not meet(beam, union(p.solid for p in RIG.of(Group.CRADLE, Group.BOARD)))


# masses


def test_the_masses_of_the_settings_are_those_of_the_parts() -> None:
    m = SETTINGS.mechanics
    moving = RIG.mass_kg(Group.CRADLE, Group.BOARD)
    assert m.moving_mass_kg == pytest.approx(moving + FASTENERS_KG, abs=0.3)
    x, z = RIG.centre_mm(Group.CRADLE, Group.BOARD)
    assert m.centre_of_mass_mm == pytest.approx(x, abs=10)
    assert z > 0, "above the plane of hinge and pivot: the push falls faster than is reckoned"
    standing = RIG.mass_kg(Group.BASE, Group.BOX, Group.TUBE)
    assert m.base_mass_kg == pytest.approx(standing + BASE_FASTENERS_KG, abs=0.3)


def test_the_motor_of_the_model_is_as_long_as_that_of_the_sizing() -> None:
    (motor,) = [p for p in RIG.of(Group.BOX) if p.name == "motor"]
    box = motor.solid.bounding_box()
    assert box[2] == pytest.approx(-SETTINGS.mechanics.motor_overhang_mm)
    heavy = msgspec.structs.replace(SETTINGS.mechanics, motor_overhang_mm=200.0)
    longer = Rig(msgspec.structs.replace(SETTINGS, mechanics=heavy))
    assert longer.mass_kg(Group.BOX) > RIG.mass_kg(Group.BOX)
