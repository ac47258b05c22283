// One small part, for a printer; `view` gives its outline from the top, front or right instead.
use <parts.scad>

part = "crank";
view = "";

if (view == "") named(part);
else if (view == "top") projection() named(part);
else if (view == "front") projection() rotate([-90, 0, 0]) named(part);
else projection() rotate([-90, 0, 0]) rotate([0, 0, -90]) named(part);
