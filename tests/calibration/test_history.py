"""What is said of home readings: each limit from both sides and with both signs."""

import pytest

from rig.calibration.history import HomeRecord, home_trend

STAYED = "The home reading has not changed."


def words(
    along: list[float],
    cross: float = 0.0,
    axis: float | None = None,
    bend: float | None = None,
    days: float = 10.0,
) -> str:
    """All that is said of readings that are some days apart."""
    records = [
        HomeRecord("2026-11-25T08:00:00Z", days * i, value, cross, axis, bend)
        for i, value in enumerate(along)
    ]
    return " ".join(home_trend(records).words)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_shift_is_worth_a_word_beyond_a_twentieth_of_a_degree(sign: float) -> None:
    assert words([0.049 * sign] * 3) == STAYED
    assert "has moved one way" in words([0.051 * sign] * 3)
    assert words([0.0] * 3, cross=0.049 * sign) == STAYED
    assert "has moved one way" in words([0.0] * 3, cross=0.051 * sign)
    # The other way counts from half of that.
    assert "moved one way" in words([0.06] * 3, cross=0.024 * sign)
    assert "moved along and across" in words([0.06] * 3, cross=0.026 * sign)
    assert "moved along and across" in words([0.026 * sign] * 3, cross=0.06)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_bend_counts_from_015_degrees_per_20(sign: float) -> None:
    assert words([0.0] * 3, bend=0.14 * sign) == STAYED
    assert f"drift apart by {0.16 * sign:+.2f}°" in words([0.0] * 3, bend=0.16 * sign)


def test_a_hinge_that_moved_counts_from_03_degrees_and_explains_the_rest() -> None:
    assert words([0.0] * 3, axis=0.29) == STAYED
    turned = words([0.2] * 3, axis=0.31, bend=0.3)
    assert "turned on its mount" in turned
    assert "bent" not in turned
    assert "Only a level" not in turned


def test_the_last_three_readings_say_where_it_stands_now() -> None:
    assert words([0.3, 0.3, 0.0, 0.3, 0.0, 0.0]) == STAYED
    shift = home_trend(
        [HomeRecord("x", float(i), a, -a) for i, a in enumerate([0.0, 0.0, 0.1, 0.2, 0.9])]
    )
    assert (shift.shift_deg, shift.cross_shift_deg) == (0.2, -0.2)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("per_month_deg", "scatter_deg", "is_told"),
    [
        # Readings at ± the scatter about a line: u = scatter · √(2/5) per 10 days.
        (0.0580, 0.01, True),
        (0.0560, 0.01, False),
        # And nothing below 0.05° a month.
        (0.0505, 0.001, True),
        (0.0495, 0.001, False),
    ],
)
def test_a_trend_must_exceed_three_times_its_uncertainty(
    per_month_deg: float, scatter_deg: float, is_told: bool, sign: float
) -> None:
    line = [per_month_deg / 3.0 * (i - 3) + scatter_deg * (1, -1, -1, 1)[i] for i in range(4)]
    told = words([sign * value for value in line])
    assert (f"It changes by {sign * per_month_deg:+.2f}" in told) is is_told
    assert ("per month" in told) is is_told


@pytest.mark.parametrize(("n", "days"), [(2, 10.0), (3, 0.4)])
def test_two_readings_or_one_day_show_no_trend(n: int, days: float) -> None:
    records = [HomeRecord("x", days * i, 0.1 * (i % 2), 0.0) for i in range(n)]
    found = home_trend(records)
    assert (found.per_month_deg, found.u_per_month_deg) == (0.0, 0.0)
