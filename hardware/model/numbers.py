"""What the model sets apart from the settings, in mm; everything else comes from `rig.toml`.

Base parts are placed in the frame of the floor (x from the hinge uphill, y across, z up from the
floor), cradle parts from the hinge axis along the cradle (z across its plane), parts of the strut
from its pivot along the screw.
"""

from dataclasses import dataclass

from rig.motion import base_frame


@dataclass(frozen=True)
class Numbers:
    """Sizes and places of the parts."""

    # base: planed timber 38 x 89 on edge, plywood of 18 mm
    timber: tuple[float, float] = base_frame.TIMBER_MM
    foot: float = base_frame.FOOT_MM
    ply: float = base_frame.PANEL_MM
    panel_inner: float = base_frame.PANEL_INNER_MM
    """From the middle of the rig to the inner face of a side panel."""
    panel_ends: tuple[float, float] = (-110.0, 960.0)
    panel_end_height: float = 190.0
    above_hinge: float = 32.0
    """The panel's upper edge above the hinge axis; the flange bearing is as high."""
    above_pivot: float = 58.0
    cross_rails: tuple[float, float, float] = base_frame.CROSS_RAILS_MM
    cross_half: float = 570.0
    middle_half: float = 310.0
    long_rail: tuple[float, float] = (-220.0, 1300.0)
    foot_y: float = base_frame.FOOT_Y_MM
    tie_x: float = 291.0
    stop_post: tuple[float, float] = (-218.0, -500.0)

    # hinge and cradle: profile 40 x 40, board on top
    bar: float = base_frame.BAR_MM
    bar_half: float = 205.0
    rail: float = 40.0
    rail_y: float = base_frame.RAIL_Y_MM
    rail_start: float = -31.0
    rail_low: float = 31.0
    """Underside of the rails above the hinge axis: the height of a 20 mm shaft support."""
    board_thick: float = 15.0
    crossbars: tuple[float, float, float] = (160.0, 498.0, 1100.0)
    stub_y: tuple[float, float] = (200.0, 390.0)
    strap_bolt_y: float = 322.0
    strap_toe_y: float = 272.0
    strap_heel_y: float = 372.0
    side: float = 20.0
    side_y: float = 335.0
    side_ends: tuple[float, float] = (190.0, 890.0)
    outriggers: tuple[float, float] = (200.0, 880.0)

    # cradle pivot: lugs of steel angle 50 x 50 x 6 with a closed slot, pin in the tube's head
    pin: float = 12.0
    slot: float = 12.5
    slot_run: float = 105.0
    """The pin can leave its seat by this much and no further: the keeper."""
    lug_inner: float = 40.0
    lug_leg: float = 50.0
    lug_thick: float = 6.0
    lug_below: float = 125.0
    head: tuple[float, float] = (70.0, 40.0)
    head_above: float = 12.0
    head_below: float = 38.0
    head_pocket: float = 15.0
    tube_outer: float = 35.0
    tube_inner: float = 29.0
    end_plate: float = 8.0
    rod_at: tuple[float, float] = (29.0, 12.0)

    # bearing box on the base pivot: flats of aluminium 80 wide
    cheek_inner: float = 42.0
    cheek_thick: float = 10.0
    box_half: float = 40.0
    plate: float = 15.0
    top_plate_at: float = 45.0
    motor_at: float = -67.0
    journal: tuple[float, float, float] = (10.0, 42.0, 14.0)
    """Seat of the screw's bearing: diameter, length, how much of it has a thread M10×1."""
    shaft_end: tuple[float, float] = (8.0, 60.0)
    """Turned end for gear and coupling: diameter and length."""
    gear_out: float = 27.0
    """Back of a bevel gear from the point where both axes cross."""
    crank_parked: float = 10.0
    """The crank's shaft is pulled out by this much while the motor may run."""
    crank_end: float = 430.0
    crank_arm: float = 100.0

    # cams on the hinge bar, plunger switches below them
    cam_y: float = 86.0
    cam_low: float = 28.0
    cam_high: float = 32.0
    cam_wide: float = 10.0
    roller: float = 12.0
    switch_opens: float = 2.0
    """Travel of the plunger, from the cam's low radius, at which the contact is open."""
    lower_ramp_deg: float = 90.0
    """Where the ramp of the lower cam begins: the roller lies at 90° below the axis."""

    # prop: hinged at its foot on the middle rail, its head takes a pin under a stub of the cradle
    prop_y: float = -262.0
    prop_stub: tuple[float, float] = (-310.0, -200.0)
    prop_pin_above: float = 10.0
    prop_tubes: tuple[float, float, float] = (28.0, 22.0, 490.0)
    prop_foot: float = 20.0
    """Its foot's bolt above the middle rail."""


NUMBERS = Numbers()
