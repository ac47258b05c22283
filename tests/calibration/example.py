"""An invented calibration for tests."""

from rig.calibration.model import Calibration, SensorIdentity

SENSOR = SensorIdentity(model="lsm6dsox", address=0x6A, identity="6c-0042")


def diagonal(*u: float) -> tuple[tuple[float, ...], ...]:
    return tuple(
        tuple(value * value if row == column else 0.0 for column in range(len(u)))
        for row, value in enumerate(u)
    )


def calibration(**changes: object) -> Calibration:
    values: dict[str, object] = {
        "made_at": "2026-10-01T08:00:00Z",
        "due_at": "2027-04-01T08:00:00Z",
        "sensor": SENSOR,
        "temperature_c": 22.0,
        "counts_per_g": 16393.0,
        "covariance": diagonal(3e-4, 3e-4, 3e-4, 5e-4, 5e-4, 5e-4, 0.02, 0.02),
        "filter_delay_ms": 22.0,
        "u_filter_delay_ms": 3.0,
    }
    return Calibration(**(values | changes))  # type: ignore[arg-type]
