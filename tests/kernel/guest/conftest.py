"""What the tests in the guest share."""

from collections.abc import Iterator

import pytest
from far_pins import SimChip, Writes


@pytest.fixture
def chip() -> Iterator[SimChip]:
    """A header, all of whose inputs are as on a rig at rest."""
    from rig.settings.model import Pins

    pins = Pins()
    with SimChip() as header:
        for gpio in (pins.start_button, pins.stop_button):
            header.drive(gpio, True)
        yield header


@pytest.fixture
def writes(chip: SimChip) -> Iterator[Writes]:
    """The record of what is written to the header."""
    with Writes(chip.base, "test") as record:
        yield record
