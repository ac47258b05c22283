// All small parts side by side, for the picture.
use <parts.scad>

color("#e8a33d") {
    translate([0, 0, 0]) named("sensor_tray");
    translate([190, 30, 0]) rotate(180) named("beam_bracket");
    translate([225, 10, 0]) named("slit_mask");
    translate([0, -90, 0]) named("blade_carriage");
    translate([140, -50, 0]) rotate(180) named("clamp_jaw");
    translate([230, -50, 0]) rotate(180) named("limit_bracket");
    translate([20, -160, 0]) named("crank");
    translate([170, -150, 0]) named("limit_cam");
}
