"""What the steps and the angle sensor say of a move, at each limit from both sides."""

import pytest

from rig.control.progress_watch import ProgressWatch
from rig.errors import MachineFaultError

LOOK_S = 0.01


def met(
    share: float,
    sign: int,
    *,
    rate_deg_s: float = 1.0,
    age_s: float = 0.0,
    up_to_deg: float = 3.0,
) -> tuple[str, float] | None:
    """The cause and when it came, of a steady move whose sensor shows a share of the steps."""
    watch = ProgressWatch()
    watch.begin()
    for i in range(round(up_to_deg / rate_deg_s / LOOK_S) + 1):
        now_s = i * LOOK_S
        by_steps = sign * rate_deg_s * now_s
        try:
            watch.look(now_s, 10.0 + by_steps, 10.5 + share * by_steps, age_s)
        except MachineFaultError as error:
            return error.cause, now_s
    return None


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("share", "cause", "at_s"),
    [
        # 1.2° by the steps at 1°/s, and 0.3 s that it lasts.
        (0.0, "no_progress", 1.5),
        (0.39, "no_progress", 1.5),
        (-0.39, "no_progress", 1.5),
        # 0.8° and 0.3 s.
        (-0.41, "wrong_direction", 1.1),
        (-1.0, "wrong_direction", 1.1),
    ],
)
def test_a_board_that_does_not_follow_is_noticed_in_either_direction(
    share: float, cause: str, at_s: float, sign: int
) -> None:
    found = met(share, sign)
    assert found is not None
    assert found[0] == cause
    assert found[1] == pytest.approx(at_s, abs=2.5 * LOOK_S)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("share", [0.41, 1.0, 1.5])
def test_a_board_that_follows_raises_nothing(share: float, sign: int) -> None:
    assert met(share, sign, up_to_deg=12.0) is None


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("up_to_deg", "share"), [(0.79, -1.0), (1.19, -0.39), (1.19, 0.0)])
def test_too_short_a_travel_is_not_judged(up_to_deg: float, share: float, sign: int) -> None:
    assert met(share, sign, rate_deg_s=0.2, up_to_deg=up_to_deg) is None


@pytest.mark.parametrize(("age_s", "is_met"), [(0.14, True), (0.16, False)])
def test_a_stale_angle_is_not_compared(age_s: float, is_met: bool) -> None:
    assert (met(0.0, 1, age_s=age_s) is not None) == is_met


def test_without_an_angle_nothing_is_compared() -> None:
    watch = ProgressWatch()
    for i in range(100):
        watch.look(i * 0.05, i * 0.1, None, 0.0)


def stuck_at(watch: ProgressWatch, begin_s: float, seconds: float) -> None:
    """The steps are 1.3° on, the sensor has not moved."""
    for i in range(round(seconds / LOOK_S) + 1):
        watch.look(begin_s + i * LOOK_S, 1.3, 0.0, 0.0)


def test_a_deviation_shorter_than_0_3_s_is_ignored() -> None:
    watch = ProgressWatch()
    watch.look(0.0, 0.0, 0.0, 0.0)
    stuck_at(watch, 1.0, 0.28)
    watch.look(1.29, 1.3, 1.3, 0.0)
    stuck_at(watch, 1.3, 0.28)
    with pytest.raises(MachineFaultError, match=r"steps moved by \+1\.3°.*only \+0\.0°"):
        stuck_at(watch, 1.58, 0.04)


def test_a_stale_angle_restarts_the_comparison() -> None:
    watch = ProgressWatch()
    watch.look(0.0, 0.0, 0.0, 0.0)
    stuck_at(watch, 1.0, 0.28)
    watch.look(1.29, 1.3, 0.0, 0.2)
    stuck_at(watch, 1.3, 1.0)


def test_a_new_move_begins_from_nothing() -> None:
    watch = ProgressWatch()
    watch.look(0.0, 0.0, 0.0, 0.0)
    stuck_at(watch, 1.0, 0.28)
    watch.begin()
    stuck_at(watch, 1.29, 1.0)


def test_the_way_back_is_compared_with_the_turn_and_not_with_the_start() -> None:
    watch = ProgressWatch()
    for i in range(60):
        watch.look(i * 0.05, i * 0.1, i * 0.1, 0.0)
    for i in range(19):
        watch.look(3.0 + i * 0.05, 5.9 - i * 0.1, 5.9, 0.0)
    with pytest.raises(MachineFaultError) as caught:
        watch.look(4.0, 3.9, 5.9, 0.0)
    assert caught.value.cause == "no_progress"
