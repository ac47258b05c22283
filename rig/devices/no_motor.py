"""What stands in for the motor of a board that a person raises: no pins, no moves."""

from typing import Any

from rig.clock import Clock
from rig.devices.stepper import Stepper
from rig.settings.model import Settings


class NoMotor(Stepper):
    """A stepper that is not there; its count stays 0.

    Args:
        clock: the rig's clock.
        settings: the rig's settings.
    """

    def __init__(self, clock: Clock, settings: Settings) -> None:
        super().__init__(clock, None, settings.pins, settings.screw)

    def open(self) -> None:
        """Claim nothing."""

    def close(self) -> None:
        """Nothing to let go of."""

    def enable(self) -> None:
        """Refuse: whoever asks for a move has not looked who raises the board.

        Raises:
            RuntimeError: always.
        """
        raise RuntimeError("a board that is raised by hand has no motor")

    def move(self, plan: Any) -> Any:
        """Refuse, as `enable`."""
        self.enable()
