// The whole rig at an inclination. x: along the level board, uphill; y: across; z: up, floor at 0.
// openscad -D angle_deg=20 rig.scad
include <parameters.scad>
use <parts.scad>

angle_deg = 20;
show_prop = false;
show_board = true;
show_pushed = false;    // the blade at its highest place; else parked, where it is the catch
$fn = 32;

metal = "#b8bcc2";
dark = "#565c66";
timber = "#d8b98a";
steel = "#8d98a8";
plastic = "#e8a33d";
rail = 40;
board_thick = 18;
rail_y = mechanics_hinge_spacing_mm / 2;
post_y = rail_y + 60;
side_y = board_width_mm / 2 + 30;
board_top = rail / 2 + board_thick;

// pivots, seen from the hinge axis, as in rig/motion/clearances.py
drop_deg = asin(mechanics_pivot_drop_mm / linkage_cradle_pivot_mm);
function polar(r, deg) = [r * cos(deg), 0, r * sin(deg)];
base_pivot = polar(linkage_base_pivot_mm, -linkage_level_angle_deg - drop_deg);
cradle_pivot = polar(linkage_cradle_pivot_mm, angle_deg - drop_deg);
screw_mm = norm(cradle_pivot - base_pivot);

module bar(from, to, size = [rail, rail]) {
    way = to - from;
    length = norm(way);
    translate(from) rotate([0, acos(way.z / length), atan2(way.y, way.x)])
        translate([-size.x / 2, -size.y / 2, 0]) cube([size.x, size.y, length]);
}

module frame() {
    h = mechanics_hinge_height_mm;
    color(timber) for (y = [-post_y, post_y]) {
        bar([-140, y, rail / 2], [1320, y, rail / 2]);
        bar([0, y, rail], [0, y, h - 30]);
        bar([30, y, 380], [390, y, 35]);
    }
    color(timber) {
        for (x = [-120, 600, 1120, 1300])
            bar([x, -post_y, rail / 2], [x, post_y, rail / 2]);
        bar([0, -post_y, 330], [0, post_y, 330]);
        // the base pivot stands on two inner rails; the motor swings between them
        for (y = [-75, 75]) {
            bar([600, y, rail / 2], [1120, y, rail / 2]);
            bar([base_pivot.x, y, rail], [base_pivot.x, y, h + base_pivot.z + 25]);
        }
    }
    color(steel) for (y = [-post_y, post_y])            // hinge bearings
        translate([-30, y - 15, h - 30]) difference() {
            cube([60, 30, 44]);
            translate([30, -1, 30]) rotate([-90, 0, 0]) cylinder(d = 16, h = 40);
        }
    color(dark) translate([0, -post_y - 25, h]) rotate([-90, 0, 0])
        cylinder(d = 15, h = 2 * post_y + 50);
    // limit switches: their rollers ride on the cam, so that no gap closes on a finger
    for (x = [-66, 26]) {
        color(plastic) translate([x, post_y - 20, h - 96]) named("limit_bracket");
        color("#222222") translate([x + 12, post_y - 34, h - 84]) cube([16, 10, 40]);
        color(metal) translate([x + 20, post_y - 34, h - 41]) rotate([-90, 0, 0]) cylinder(d = 8, h = 8);
    }
    color(timber) bar([-70, post_y, h - 116], [70, post_y, h - 116]);
    color("#3f6e9c") translate([-50, -post_y - 110, 180]) cube([220, 80, 160]);  // electronics
    color("#e9d24a") translate([-170, -post_y - 40, h - 200]) cube([80, 80, 60]); // emergency stop
    for (i = [0:2]) color(["#2e9e4f", "#222222", "#f4f4f4"][i])       // start, stop, lamp
        translate([i * 60, -post_y - 70, 340]) cylinder(d = 26, h = 14);
    color("#c8322b") translate([-130, -post_y, h - 140]) { cylinder(d = 22, h = 18);
        translate([0, 0, 14]) cylinder(d = 42, h = 16); }
    color(timber) bar([-130, -post_y, rail], [-130, -post_y, h - 200]);
}

module strut() {   // motor, bearing, screw; tube with nut and fork
    way = cradle_pivot - base_pivot;
    translate(base_pivot) rotate([0, atan2(way.x, way.z), 0]) {
        color(dark) translate([-28.5, -28.5, -160]) cube([57, 57, 112]);
        color(metal) translate([0, 0, -mechanics_motor_overhang_mm]) cylinder(d = 8, h = 32);
        color(steel) {
            translate([-30, -30, -48]) cube([60, 60, 5]);
            for (x = [-25, 25], y = [-25, 25]) translate([x, y, -48]) cylinder(d = 8, h = 72);
            translate([-30, -30, 20]) cube([60, 60, mechanics_screw_start_mm - 20]);
            rotate([90, 0, 0]) translate([0, 20, -95]) cylinder(d = 16, h = 190);
        }
        color(metal) cylinder(d = mechanics_screw_diameter_mm,
                              h = mechanics_screw_start_mm + mechanics_screw_length_mm);
        color("#c9a227") translate([0, 0, screw_mm - mechanics_tube_length_mm])
            cylinder(d = 48, h = 10);
        color("#9fb4c7") translate([0, 0, screw_mm - mechanics_tube_length_mm + 10])
            cylinder(d = 35, h = mechanics_tube_length_mm - 40);
        color(steel) translate([0, 0, screw_mm]) difference() {   // fork, open at the top
            translate([-18, -25, -32]) cube([36, 50, 48]);
            translate([-20, -16, -12]) cube([40, 32, 60]);
            rotate([90, 0, 0]) hull() { translate([0, 0, -30]) cylinder(d = 12.2, h = 60);
                translate([0, 20, -30]) cylinder(d = 12.2, h = 60); }
        }
    }
}

module cradle() translate([0, 0, mechanics_hinge_height_mm]) rotate([0, -angle_deg, 0]) {
    end = board_length_mm;
    color(metal) {
        for (y = [-rail_y, rail_y]) bar([-30, y, 0], [end, y, 0]);
        for (x = [60, linkage_cradle_pivot_mm, end - 20]) bar([x, -rail_y, 0], [x, rail_y, 0]);
        // side rails, below the board's plane, on two outriggers under the cradle's rails
        for (x = [200, 880]) bar([x, -side_y - 10, -30], [x, side_y + 10, -30], [20, 20]);
        for (y = [-side_y, side_y]) bar([190, y, -10], [890, y, -10], [20, 20]);
    }
    color(plastic) translate([0, rail_y + 22, 0]) rotate([-90, 0, 0]) named("limit_cam");
    color(dark) {                        // blade drive below the rails: motor, shaft, two belts
        translate([829, -side_y - 66, -51]) cube([42, 48, 42]);
        translate([850, -side_y - 20, -30]) rotate([-90, 0, 0])
            cylinder(d = 8, h = 2 * side_y + 8);
        for (s = [-1, 1]) {
            for (z = [-24.4, -37]) translate([250, s * (side_y - 24) - 3, z]) cube([600, 6, 1.4]);
            for (x = [250, 850]) translate([x, s * (side_y - 24) - 4, -30]) rotate([-90, 0, 0])
                cylinder(d = 12.4, h = 8);
        }
    }
    color(metal) for (s = [-1, 1])       // holders of the shaft and of the idlers, under the rail
        for (x = [250, 850]) translate([x - 10, s * (side_y - 12) - 3, -40]) cube([20, 6, 20]);
    color(steel) translate([linkage_cradle_pivot_mm * cos(drop_deg), 0, 0])  // cradle pivot
        for (y = [-13, 5]) translate([-18, y, -mechanics_pivot_drop_mm - 14]) cube([36, 8, 44]);
    color(dark) translate([linkage_cradle_pivot_mm * cos(drop_deg), -30, -mechanics_pivot_drop_mm])
        rotate([-90, 0, 0]) cylinder(d = 12, h = 60);
    if (show_board) color("#e6cfa3") difference() {
        translate([0, -board_width_mm / 2, rail / 2])
            cube([board_length_mm, board_width_mm, board_thick]);
        translate([(board_hole_start_mm + board_hole_end_mm) / 2, 0, 0])
            cylinder(d = board_hole_end_mm - board_hole_start_mm, h = 100, $fn = 64);
    }
    color(plastic) for (x = [110, 1100], s = [-1, 1])            // clamps
        translate([x + (s > 0 ? 0 : 40), s * (board_width_mm / 2 + 16), rail / 2 + board_thick + 8])
            rotate([180, 0, s > 0 ? 0 : 180]) named("clamp_jaw");
    at_bag = beam_position_mm + bag_gap_mm;
    color("#b3404a") translate([at_bag, -bag_width_mm / 2, board_top]) hull() {   // the bag
        translate([15, 15, 0]) cube([bag_length_mm - 30, bag_width_mm - 30, 32]);
        translate([0, 0, 10]) cube([bag_length_mm, bag_width_mm, 6]);
    }
    beams = [beam_position_mm, beam_position_mm - beam_second_spacing_mm];
    for (x = beams, s = [-1, 1]) {
        color(plastic) translate([x + s * 22, s * (side_y + 36), -26])
            rotate([0, 0, s > 0 ? 180 : 0]) named("beam_bracket");
        color("#222222") translate([x, s * (side_y + 26) - (s > 0 ? 5 : 25),
            board_top + beam_height_mm]) rotate([-90, 0, 0]) cylinder(d = 8, h = 30);
    }
    color("#ff3b30") for (x = beams) translate([x, -side_y - 21, board_top + beam_height_mm])
        rotate([-90, 0, 0]) cylinder(d = 2, h = 2 * side_y + 42);
    color(plastic) translate([at_bag + bag_length_mm / 2 + mechanics_sensor_offset_mm - 45,
        side_y - 30, 0]) named("sensor_tray");
    blade(show_pushed ? beam_position_mm + blade_thickness_mm + blade_overshoot_mm : board_catch_mm);
    prop_pin();
}

// The blade with its uphill face at a place on the board; in the plane of its plate, x is across.
module blade(at) {
    plate_at = at - blade_pad() - blade_sheet();
    for (s = [-1, 1]) color(plastic)
        translate([plate_at + blade_sheet() / 2 + s * 30, s * (side_y + 17), 16])
            rotate([180, 0, s > 0 ? 180 : 0]) named("blade_carriage");
    leg = board_top + blade_low() - 4;
    color(steel) translate([plate_at, 0, board_top + blade_low()]) rotate([90, 0, 90])
        blade_plate(2 * side_y + 20, board_width_mm, leg);
    color(steel) translate([plate_at - 15, -side_y + 20, board_top + blade_low() + blade_tall() - 2])
        cube([15, 2 * side_y - 40, 2]);                          // stiffener, above the beam
    color("#444444") translate([at - blade_pad(), -board_width_mm / 2, board_top + blade_low()])
        cube([blade_pad(), board_width_mm, blade_tall()]);
}

// Pin under the cradle's rail that the prop's notched end takes.
prop_at = 520;      // from the hinge
prop_drop = 36;
module prop_pin() color(steel) translate([prop_at, rail_y, -prop_drop]) {
    for (y = [-22, 16]) translate([-20, y, -12]) cube([40, 6, 28]);
    rotate([-90, 0, 0]) translate([0, 0, -24]) cylinder(d = 12, h = 48);
}

// Two tubes with a pin through a row of holes: it fits at any inclination. Foot in a socket.
module prop() {
    foot = [600, rail_y, rail];
    head = [prop_at * cos(angle_deg) + prop_drop * sin(angle_deg), rail_y,
            mechanics_hinge_height_mm + prop_at * sin(angle_deg) - prop_drop * cos(angle_deg)];
    way = head - foot;
    echo(prop_mm = norm(way));
    color(timber) translate(foot - [40, 40, 0]) difference() {
        cube([80, 80, 36]);
        translate([40, 40, 6]) cylinder(d = 36, h = 40);
    }
    translate(foot + [0, 0, 6]) rotate([0, acos(way.z / norm(way)), atan2(way.y, way.x)]) {
        color("#d9534f") cylinder(d = 28, h = 500);
        color("#e8837f") difference() {
            translate([0, 0, norm(way) - 500]) cylinder(d = 22, h = 500);
            translate([0, 0, norm(way) - 6]) rotate([90, 0, 0]) translate([0, 0, -20])
                cylinder(d = 12.4, h = 40);
            for (i = [0:21]) translate([-20, 0, norm(way) - 60 - 20 * i]) rotate([0, 90, 0])
                cylinder(d = 8.4, h = 40);
        }
        color(dark) translate([-30, 0, 480]) rotate([0, 90, 0]) cylinder(d = 8, h = 60);
    }
}

frame();
translate([0, 0, mechanics_hinge_height_mm]) strut();
cradle();
if (show_prop) prop();
