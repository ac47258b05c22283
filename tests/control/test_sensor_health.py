"""When the angle sensor's samples cannot be true, at each limit from both sides."""

import pytest

from rig.control.sensor_health import SensorHealth

PER_G = 16384.0
RATE_HZ = 208.0


def live(n: int, z: int = 16384) -> list[tuple[int, int, int]]:
    """Samples of a sensor at rest, with its noise."""
    return [(i % 3, i % 2, z) for i in range(n)]


def problem(
    counts: list[tuple[int, int, int]], angle_deg: float | None = 10.0, rate_hz: float = RATE_HZ
) -> str | None:
    health = SensorHealth(PER_G, rate_hz)
    health.feed(counts, angle_deg)
    return None if health.problem is None else health.problem.cause


@pytest.mark.parametrize("end", [(32767, 0, 0), (0, -32768, 0), (0, 0, 32701)])
def test_saturation_for_0_1_s_is_a_fault(end: tuple[int, int, int]) -> None:
    # 0.1 s at 208 Hz are 21 samples.
    assert problem([*live(40), *[end] * 10, *live(1), *[end] * 20, *live(0)]) != "imu_saturated"
    assert problem([*live(40), *[end] * 21]) == "imu_saturated"


def test_a_slow_sensor_needs_three_samples_at_the_end_of_its_range() -> None:
    end = [(32767, i, 0) for i in range(3)]
    assert problem([*live(20), *end[:2]], rate_hz=12.5) is None
    assert problem([*live(20), *end], rate_hz=12.5) == "imu_saturated"


def test_twelve_equal_samples_are_frozen() -> None:
    assert problem([*live(60), *[(5, 6, 16384)] * 11]) is None
    assert problem([*live(60), *[(5, 6, 16384)] * 12]) == "imu_frozen"


@pytest.mark.parametrize(
    ("z", "expected"),
    [
        (round(1.24 * PER_G), None),
        (round(1.26 * PER_G), "imu_absurd"),
        (round(0.76 * PER_G), None),
        (round(0.74 * PER_G), "imu_absurd"),
    ],
)
def test_far_from_gravity_is_absurd_once_it_fills_a_quarter_of_a_second(
    z: int, expected: str | None
) -> None:
    # 0.25 s at 208 Hz are 52 samples.
    assert problem(live(51, z)) is None
    assert problem(live(52, z)) == expected


@pytest.mark.parametrize(
    ("angle_deg", "expected"),
    [
        (-14.9, None),
        (-15.1, "imu_absurd"),
        (74.9, None),
        (75.1, "imu_absurd"),
        (None, None),
    ],
)
def test_an_impossible_angle_is_absurd(angle_deg: float | None, expected: str | None) -> None:
    assert problem(live(51), angle_deg) is None
    assert problem(live(52), angle_deg) == expected


def test_good_samples_clear_the_problem() -> None:
    health = SensorHealth(PER_G, RATE_HZ)
    health.feed([(5, 6, 16384)] * 12, 10.0)
    assert health.problem is not None
    health.feed(live(8), 10.0)
    assert health.problem is None
