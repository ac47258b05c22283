// Small parts that a printer makes. Each lies as it is printed: flat, without support.
// openscad -D 'part="crank"' -o crank.stl print.scad
include <parameters.scad>

$fn = 32;
rail = 20;          // side rails that carry tray, beams and blade: 20 x 20 mm slotted profile
slot_screw = 5.3;   // M5 through
wall = 5;

module hole(x, y, d = slot_screw) translate([x, y, -1]) cylinder(d = d, h = 60);
module slot(x, y, length, d = slot_screw, along = 0)
    translate([x, y, -1]) rotate(along) hull() {
        translate([-length / 2, 0]) cylinder(d = d, h = 60);
        translate([length / 2, 0]) cylinder(d = d, h = 60);
    }

// Tray of the angle sensor: bolted on the side rail; the two lands on its top are the seat of a
// spirit level, the sensor board sits between them on four posts.
tray = [90, 60, 6];
module sensor_tray() {
    difference() {
        union() {
            cube(tray);
            for (y = [0, tray.y - 12]) translate([0, y, 0]) cube([tray.x, 12, 16]);
            for (x = [32, 58], y = [20, 40]) translate([x, y, 0]) cylinder(d = 7, h = 10);
        }
        for (x = [32, 58], y = [20, 40]) translate([x, y, 2]) cylinder(d = 2.2, h = 20);
        for (x = [10, tray.x - 10]) slot(x, tray.y / 2, 6, along = 90);
        translate([tray.x - 8, 24, 6]) cube([20, 12, 6]);   // the cable's way out
    }
}

// Bracket of a beam's emitter or receiver, bolted under the side rail: slides along it (gap), the
// sensor slides up and down (height). The blade's carriage passes between bracket and rail.
beam_foot = [44, 46, 6];
beam_up = 96;
beam_off = 36;      // rail's middle to the bracket's outer face
module beam_bracket() difference() {
    union() {
        cube(beam_foot);
        cube([beam_foot.x, 10, beam_up]);
    }
    slot(beam_foot.x / 2, beam_off, 16);
    translate([beam_foot.x / 2, -1, 0]) rotate([-90, 0, 0]) hull()
        for (z = [beam_up - 36, beam_up - 9]) translate([0, -z, 0]) cylinder(d = 8.2, h = 20);
}

// Slit before the receiver: 1 mm across the slide, so that the edge time does not depend on aim.
module slit_mask() difference() {
    cube([24, 20, 2]);
    translate([11.5, 4, -1]) cube([1, 12, 4]);
    for (x = [4, 20]) hole(x, 10, 3.2);
}

// Carriage of the blade: rides on the side rail; its slot takes a leg of the blade's plate, and the
// lug at its inner side the belt. Printed upside down.
function blade_pad() = 1;                                        // of cork, on the uphill face
function blade_sheet() = blade_thickness_mm - blade_pad();
module blade_carriage() difference() {
    union() {
        cube([60, 34, 26]);
        translate([18, -12, 15]) cube([24, 13, 24]);             // lug for the belt
    }
    translate([-1, 6.7, 15]) cube([62, rail + 0.6, 12]);         // over the rail
    translate([30 - blade_sheet() / 2 - 0.1, -1, -1]) cube([blade_sheet() + 0.2, 36, 13]);
    translate([-1, 17, 7]) rotate([0, 90, 0]) cylinder(d = 3.2, h = 62);
    for (x = [23, 37]) translate([x, -6, 0]) cylinder(d = 2.6, h = 60);   // belt clamp, M3
}

// The blade itself: one plate, cut from sheet, that spans the board and goes down to a carriage on
// either side of it; in one plane, so that it is equally thick for the beam everywhere.
function blade_low() = 4;      // above the board
function blade_tall() = 36;
module blade_plate(span, board_width, leg) difference() {
    translate([-span / 2, -leg, 0]) cube([span, leg + blade_tall(), blade_sheet()]);
    translate([-board_width / 2 - 15, -leg - 1, -1])
        cube([board_width + 30, leg + 1, blade_sheet() + 2]);
    for (s = [-1, 1]) translate([s * (span / 2 - 10), -leg + 3, -1]) cylinder(d = 3.4, h = 9);
}

// Jaw of a clamp: holds a board of 9 to 25 mm on the cradle's rail, from above at its edge.
module clamp_jaw() difference() {
    union() {
        cube([40, 30, 8]);
        cube([40, 8, 34]);
        translate([0, 26, 0]) cube([40, 8, 14]);                 // the nose, padded with cork
    }
    slot(20, 16, 10, 6.4, 90);
}

// Bracket of a limit switch: 2 slots towards the post, 2 holes for the switch, 9.5 mm apart.
module limit_bracket() difference() {
    union() {
        cube([40, 34, wall]);
        cube([40, wall, 36]);
    }
    for (x = [10, 30]) slot(x, 20, 12, along = 90);
    for (x = [15.25, 24.75]) translate([x, -1, 24]) rotate([-90, 0, 0]) cylinder(d = 2.9, h = 20);
}

// Hand crank on the motor's rear shaft (8 mm with a flat), to lower the board without power.
module crank() difference() {
    union() {
        cylinder(d = 26, h = 18);
        hull() {
            cylinder(d = 26, h = 8);
            translate([65, 0, 0]) cylinder(d = 18, h = 8);
        }
    }
    difference() {
        translate([0, 0, -1]) cylinder(d = 8.2, h = 30);
        translate([3.6, -5, -1]) cube([5, 10, 30]);
    }
    translate([65, 0, -1]) cylinder(d = 6.4, h = 20);            // the knob's screw
    translate([-20, 0, 13]) rotate([0, 90, 0]) cylinder(d = 3.3, h = 20);
}

// Cam on the cradle's rail, about the hinge: a roller on its rim drops the lower switch at home and
// the upper one at the end of the travel.
module limit_cam() difference() {
    union() {
        cylinder(d = 104, h = 8, $fn = 96);
        for (turn = [37, 143 + linkage_travel_deg]) rotate(turn) translate([0, -9, 0])
            cube([58, 18, 8]);
    }
    translate([-60, -80, -1]) cube([120, 62, 20]);               // room for the board above
    translate([0, 0, -1]) cylinder(d = 16.4, h = 20);
    for (turn = [0, 90]) rotate(turn + 45) hole(32, 0, 5.3);
}

parts = ["sensor_tray", "beam_bracket", "slit_mask", "blade_carriage", "clamp_jaw",
         "limit_bracket", "limit_cam", "crank"];
module named(name) {
    if (name == "sensor_tray") sensor_tray();
    else if (name == "beam_bracket") beam_bracket();
    else if (name == "slit_mask") slit_mask();
    else if (name == "blade_carriage") blade_carriage();
    else if (name == "clamp_jaw") clamp_jaw();
    else if (name == "limit_bracket") limit_bracket();
    else if (name == "limit_cam") limit_cam();
    else if (name == "crank") crank();
}
