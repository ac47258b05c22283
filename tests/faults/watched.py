"""A `rig` command on the twin as a process of its own whose motor is watched from outside.

`python -m tests.faults.watched FILE WORDS…` runs `rig WORDS…`. FILE has the latest of the twin's
motor at any time, also after the process was killed: read it with `Watch`. While there is a file of
the same name that ends in `.hour_back`, the wall clock is an hour behind.
"""

import mmap
import struct
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

LAYOUT = struct.Struct("<dqq")


class Watch(NamedTuple):
    """What the motor does."""

    last_pulse_s: float
    """Monotonic time of the last step pulse; the same clock in every process."""
    pulses: int
    is_enabled: bool

    @classmethod
    def read(cls, file: Path) -> "Watch":
        """What it does now."""
        last_s, pulses, is_enabled = LAYOUT.unpack(file.read_bytes()[: LAYOUT.size])
        return cls(last_s, pulses, bool(is_enabled))


def watch(file: Path) -> None:
    """Let every twin of this process note what its motor does."""
    from rig.clock import RealClock
    from rig.twin.world import World

    set_back = file.with_suffix(".hour_back")

    def utc_now(_: RealClock) -> datetime:
        return datetime.now(UTC) - timedelta(hours=set_back.exists())

    RealClock.utc_now = utc_now  # type: ignore[method-assign, assignment]
    file.write_bytes(bytes(LAYOUT.size))
    with file.open("r+b") as opened:
        seen = mmap.mmap(opened.fileno(), LAYOUT.size)
    pulses, step, drive = 0, World.on_step, World.on_output

    def note(world: Any, last_s: float) -> None:
        LAYOUT.pack_into(seen, 0, last_s, pulses, world.motor.is_enabled)

    def on_step(world: Any) -> None:
        nonlocal pulses
        step(world)
        pulses += 1
        note(world, time.monotonic())

    def on_output(world: Any, *args: Any) -> None:
        drive(world, *args)
        note(world, LAYOUT.unpack_from(seen)[0])

    World.on_step, World.on_output = on_step, on_output  # type: ignore[method-assign, assignment]


if __name__ == "__main__":
    watch(Path(sys.argv[1]))
    from rig.commands.main import main

    sys.argv = ["rig", *sys.argv[2:]]
    main()
