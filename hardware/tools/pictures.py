"""Renders the model: pictures, and the small parts as STL files for a printer.

    python hardware/tools/pictures.py [--stl]

Needs OpenSCAD, and xvfb-run where there is no screen. Only for whoever changes the model.
"""

import re
import struct
import subprocess
import sys
from pathlib import Path

HARDWARE = Path(__file__).parents[1]
MODEL = HARDWARE / "model"

PICTURES: dict[str, tuple[str, str, str, tuple[str, ...]]] = {
    "rig.png": ("rig.scad", "1400,1000", "600,0,440,68,0,325,4100", ("angle_deg=20",)),
    "raised.png": (
        "rig.scad",
        "1300,1150",
        "500,0,650,72,0,25,4900",
        ("angle_deg=45", "show_prop=true"),
    ),
    "screw.png": (
        "rig.scad",
        "1300,850",
        "660,0,380,84,0,6,2100",
        ("angle_deg=0", "show_board=false"),
    ),
    "limits.png": ("rig.scad", "1100,800", "0,250,560,78,0,181,900", ("angle_deg=0",)),
    "blade.png": (
        "rig.scad",
        "1300,850",
        "520,330,630,70,0,60,1250",
        ("angle_deg=0", "show_pushed=true"),
    ),
    "parts.png": ("tray_of_parts.scad", "1300,850", "140,-60,10,45,0,20,800", ()),
}
"""Name: model, size in pixels, camera (centre, turn, distance), definitions."""


def draw(name: str) -> None:
    """Render one picture."""
    model, size, camera, definitions = PICTURES[name]
    options = [option for text in definitions for option in ("-D", text)]
    look = ["--colorscheme=Tomorrow", "--projection=p", f"--camera={camera}", f"--imgsize={size}"]
    target = HARDWARE / "pictures" / name
    command = ["xvfb-run", "-a", "openscad", "-o", str(target), *look, *options, str(MODEL / model)]
    subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - the command is ours


def part_names() -> list[str]:
    """The small parts that the model has."""
    text = (MODEL / "parts.scad").read_text(encoding="utf-8")
    match = re.search(r"parts = \[(.*?)\];", text, re.DOTALL)
    if match is None:
        raise ValueError("parts.scad has no list of parts")
    return re.findall(r'"(\w+)"', match[1])


def export(part: str) -> None:
    """Write one part as a binary STL file; OpenSCAD writes a text of five times the size."""
    target = HARDWARE / "stl" / f"{part}.stl"
    command = ["openscad", "-o", str(target), "-D", f'part="{part}"', str(MODEL / "print.scad")]
    subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - the command is ours
    numbers = [
        tuple(float(x) for x in match)
        for match in re.findall(
            r"(?:normal|vertex) (\S+) (\S+) (\S+)", target.read_text(encoding="ascii")
        )
    ]
    facets = sorted(numbers[i : i + 4] for i in range(0, len(numbers), 4))  # the same each time
    data = b"".join(struct.pack("<12fH", *(x for c in facet for x in c), 0) for facet in facets)
    header = part.encode().ljust(80, b" ")
    target.write_bytes(header + struct.pack("<I", len(facets)) + data)


if __name__ == "__main__":
    for picture in PICTURES:
        draw(picture)
    if "--stl" in sys.argv:
        for small in part_names():
            export(small)
