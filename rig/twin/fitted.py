"""Which chip is fitted, and what its driver will say of it: rate, corner, sensitivity, identity."""

from dataclasses import dataclass

from rig.devices import lsm6, mpu6050
from rig.settings.model import Settings
from rig.twin.scenario import ImuTruth

MPU_TRIM = bytes((0x31, 0x2C, 0x5A, 0x17))


@dataclass(frozen=True)
class FittedChip:
    """An angle sensor as it is built in."""

    model: str
    who: int
    frequency_fine: int
    """The factory's trim, in steps of 0.15 %; 0 in a chip that has none."""
    rate_error: float
    """What the trim does not tell, relative."""
    stated_rate_hz: float
    """Output rate as the driver works it out."""
    lowpass_hz: float
    counts_per_g: float
    identity: str

    @property
    def rate_hz(self) -> float:
        """True output rate."""
        return self.stated_rate_hz * (1.0 + self.rate_error)


def fitted_chip(settings: Settings, imu: ImuTruth) -> FittedChip:
    """The chip that the settings name, with this truth's oscillator."""
    wanted, model = settings.imu, settings.bus.imu_model
    if model == "mpu6050":
        divider = min(range(1, 257), key=lambda n: abs(1000 / n - wanted.rate_hz))
        corners = mpu6050.LOWPASS_HZ.values()
        corner = min(corners, key=lambda c: max(c / wanted.lowpass_hz, wanted.lowpass_hz / c))
        identity = f"68-{MPU_TRIM.hex()}"
        return FittedChip(
            model, 0x68, 0, imu.rate_error, 1000 / divider, corner, mpu6050.COUNTS_PER_G, identity
        )
    fine = max(-128, min(127, round(imu.rate_error / 0.0015)))
    rest = (1.0 + imu.rate_error) / (1.0 + 0.0015 * fine) - 1.0
    stated = lsm6.rate_hz(wanted.rate_hz, fine)
    corner = stated / lsm6.bandwidth_divisor(stated, wanted.lowpass_hz)
    who = lsm6.KNOWN[model]
    return FittedChip(
        model, who, fine, rest, stated, corner, lsm6.COUNTS_PER_G, f"{who:02x}-{fine:+d}"
    )
