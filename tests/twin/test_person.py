"""The simulated person: when the bag is put back, when start is pressed."""

from collections.abc import Iterator

import pytest

from rig.clock import At, Task
from tests.twin.test_world import PINS, Bench, flat


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench(flat())
    yield made
    made.close()


def presses(bench: Bench) -> list[float]:
    """Times of all edges of the start button."""
    return [t for t, gpio, _ in bench.edges if gpio == PINS.start_button]


def attend(bench: Bench, seconds: float, *, presses: bool = True) -> None:
    def main() -> Task[None]:
        bench.clock.spawn(bench.rig.person(presses=presses), "person")
        yield At(bench.clock.time_s() + seconds)

    bench.clock.run(main())


def test_start_is_pressed_three_seconds_after_the_power_and_again_after_half_a_minute(
    bench: Bench,
) -> None:
    attend(bench, 40.0)
    # 2 s of watching, 1 s to the button, held for 0.2 s.
    assert presses(bench)[:2] == pytest.approx([3.0, 3.2])
    assert presses(bench)[2:] == pytest.approx([34.0, 34.2], abs=0.26)


def test_somebody_else_may_press_start(bench: Bench) -> None:
    bench.world.bag.raise_from(0.0)
    attend(bench, 40.0, presses=False)
    assert presses(bench) == []
    assert bench.world.bag.placing.number == 2


@pytest.mark.parametrize(("angle_deg", "n"), [(4.9, 2), (5.1, 0)])
def test_nobody_reaches_over_a_raised_board(angle_deg: float, n: int) -> None:
    made = Bench(flat(board={"start_angle_deg": angle_deg}))
    attend(made, 10.0)
    assert len(presses(made)) == n
    made.close()


def test_nobody_reaches_over_a_board_under_power(bench: Bench) -> None:
    bench.enable.on()
    attend(bench, 10.0)
    assert presses(bench) == []


def test_two_seconds_count_from_the_last_pulse(bench: Bench) -> None:
    bench.turn(50, 500.0)
    bench.clock.run(_wait(bench, 1.0))
    bench.enable.off()
    off_s = bench.clock.time_s()
    attend(bench, 10.0)
    assert presses(bench)[0] - off_s == pytest.approx(3.0, abs=0.01)


def _wait(bench: Bench, seconds: float) -> Task[None]:
    yield At(bench.clock.time_s() + seconds)
