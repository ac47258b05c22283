"""Interface of an angle sensor, whichever chip it is."""

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from rig.calibration.model import SensorIdentity
from rig.runfile.model import ImuSetup

Counts = tuple[int, int, int]


class ImuBatch(NamedTuple):
    """Samples in a row: sample `i` was taken by the chip at `t_s + i * dt_s`."""

    t_s: float
    """Monotonic time of the first sample, not corrected for the delay of the chip's filter."""
    dt_s: float
    counts: list[Counts]
    """Raw counts of the three axes, in the sensor's frame."""
    gyro_counts: Sequence[Counts] = ()
    """The same of the gyroscope, one for each sample; empty where it is off."""


class Imu(Protocol):
    """An accelerometer that is read in batches.

    Making one touches no hardware; `open` does, `close` puts the chip to sleep.
    """

    samples_lost: int
    """Number of samples lost since `start`."""

    @property
    def counts_per_g(self) -> float:
        """Nominal sensitivity, in counts per g."""

    @property
    def identity(self) -> SensorIdentity:
        """Which sensor this is; known once it is open."""

    @property
    def setup(self) -> ImuSetup:
        """How it is set up, as read back from the chip; known once it is open."""

    def open(self) -> None:
        """Check the identity, write the configuration, read it back, let the filter settle.

        Raises:
            BadInputError: if the chip is absent or of another kind.
            MachineFaultError: `"imu_setup"`, if it does not keep its configuration.
        """

    def close(self) -> None:
        """Put the chip to sleep; harmless when it is not open or does not answer."""

    def start(self) -> None:
        """Discard stored samples and begin to collect."""

    def read_batches(self) -> list[ImuBatch]:
        """All samples since the last call, oldest first; more than one batch after a loss.

        Raises:
            MachineFaultError: `"bus"`.
        """

    def temperature_c(self) -> float:
        """Temperature of the chip, °C."""

    def verify(self) -> None:
        """Compare the chip's configuration with what was set.

        Raises:
            MachineFaultError: `"imu_reset"`, if the chip has reset itself.
        """
