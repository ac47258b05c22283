"""A bench: chips on a simulated bus, on a virtual clock."""

from collections.abc import Callable, Iterator

import pytest

from rig.clock import VirtualClock
from rig.devices.bus import Bus
from rig.twin.chips.chip import Chip
from rig.twin.chips.fake_bus import FakeBus


class Bench:
    """A bus that is open, and what hangs on it."""

    def __init__(self, chips: dict[int, Chip]) -> None:
        self.clock = VirtualClock(start_s=50.0)
        self.wires = FakeBus(self.clock, chips)
        self.bus = Bus(self.clock, self.wires.open, "/dev/i2c-1")
        self.bus.open()


MakeBench = Callable[[dict[int, Chip]], Bench]


@pytest.fixture
def bench() -> Iterator[MakeBench]:
    made: list[Bench] = []

    def make(chips: dict[int, Chip]) -> Bench:
        made.append(Bench(chips))
        return made[-1]

    yield make
    for one in made:
        one.bus.close()
