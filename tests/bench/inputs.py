"""What several measured tables hang on, by path; see `tests.bench.heading`."""

ONSET = (
    *(
        f"rig/analysis/onset/{name}.py"
        for name in ("edges", "estimate", "fit", "geometry", "laws", "posterior", "slump")
    ),
    *(f"rig/analysis/{name}.py" for name in ("angle/ramp", "budget/run", "friction")),
    "rig/sliding.py",
)
"""From a run file to an onset angle with its uncertainty."""

SIMULATOR = (
    *(f"rig/twin/{name}.py" for name in ("draws", "fabric", "friction", "sensor", "slide")),
    "tests/fastsim/run.py",
)
"""Slides and the sensor that reads them."""

CYCLE = tuple(
    f"rig/control/{name}.py"
    for name in ("cycle", "homing", "interlocks", "machine", "mover", "senses", "sensor_health")
)
"""A run of the machine, and what it watches."""
