"""Homing: which way, how far, how fast, and what it gives up at."""

from math import inf
from typing import Any

import msgspec
import pytest

from rig.control.homing import home
from rig.control.mover import Mover
from rig.motion.ramp import Plan
from rig.settings.model import Linkage
from rig.twin.draws import changed
from tests.control.conftest import MakeBench
from tests.control.machine_bench import SCENARIO, SETTINGS, Bench, caught


class Homed:
    """A homing, with the rate that each of its moves was planned with."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.rates_deg_s: list[float] = []
        self._plan = bench.machine.plan
        bench.machine.plan = self._noted  # type: ignore[method-assign]

    def _noted(self, to_angle_deg: float, rate_deg_s: float) -> Plan:
        self.rates_deg_s.append(rate_deg_s)
        return self._plan(to_angle_deg, rate_deg_s)

    def task(self) -> Any:
        return home(Mover(self.bench.machine), self.bench.machine)

    def touches_deg_s(self) -> list[float]:
        """Measured rate of the last pulses of each way down."""
        pulses, found = self.bench.pulses, []
        for i in range(21, len(pulses)):
            # The inclination is that before the pulse.
            (t0, a0), (t1, a1), (_, a2) = pulses[i - 21], pulses[i - 1], pulses[i]
            is_last = i + 1 == len(pulses) or pulses[i + 1][1] > a2
            if is_last and a2 < a1:
                found.append((a0 - a1) / (t1 - t0))
        return found


@pytest.mark.parametrize(("is_careful", "factor"), [(False, 1.0), (True, 0.5)])
def test_the_second_touch_is_slow_and_after_an_interruption_all_of_it_is(
    bench: Bench, is_careful: bool, factor: float
) -> None:
    bench.machine.homes_slowly = is_careful
    homed = Homed(bench)
    bench.run(homed.task())
    # Down, off the switch, half a degree on, down again.
    assert homed.rates_deg_s == [factor * rate for rate in (2.0, 2.0, 2.0, 0.5)]
    assert homed.touches_deg_s() == pytest.approx([2.0 * factor, 0.5 * factor], rel=0.05)
    assert not bench.machine.homes_slowly
    assert bench.machine.is_homed


def test_count_0_is_where_the_switch_opens_and_the_retreat_is_half_a_degree(bench: Bench) -> None:
    bench.run(Homed(bench).task())
    assert bench.machine.stepper.count == 0
    assert bench.world.motor.position == 0
    assert bench.machine.inputs.limit_lower_reached
    angles = [angle for _, angle in bench.pulses]
    turn = next(i for i in range(len(angles)) if angles[i + 1] > angles[i])
    assert max(angles[turn:]) - angles[turn] == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("start_deg", [0.0, -0.9])
def test_on_the_switch_it_first_goes_up(make_bench: MakeBench, start_deg: float) -> None:
    bench = make_bench(scenario=changed(SCENARIO, board={"start_angle_deg": start_deg}))
    bench.run(Homed(bench).task())
    assert bench.pulses[1][1] > bench.pulses[0][1]
    assert bench.world.motor.position == bench.machine.stepper.count == 0


def test_a_switch_that_is_not_found_is_given_up_3_deg_below_home(make_bench: MakeBench) -> None:
    linkage = Linkage(home_angle_deg=-1.0)
    bench = make_bench(msgspec.structs.replace(SETTINGS, linkage=linkage))
    bench.hold("limit_lower", False)
    bench.world._bottom = -inf  # noqa: SLF001 - the board has no stop that it could meet
    bench.world._look(bench.clock.time_s())  # noqa: SLF001
    assert caught(bench, Homed(bench).task()) == "limit_lower_missing"
    assert bench.machine.step_angle_deg() == pytest.approx(-4.0, abs=0.05)
    assert not bench.machine.is_homed


def test_a_switch_that_never_lets_go_is_given_up_after_3_deg(bench: Bench) -> None:
    bench.hold("limit_lower", True)
    assert caught(bench, Homed(bench).task()) == "limit_lower_stuck"
    risen = bench.pulses[-1][1] - bench.pulses[0][1]
    assert risen == pytest.approx(3.0, abs=0.05)
    assert all(b[1] >= a[1] for a, b in zip(bench.pulses, bench.pulses[1:], strict=False))


def test_without_a_calibration_a_board_on_its_way_counts_as_being_as_high_as_it_may(
    make_bench: MakeBench,
) -> None:
    low = msgspec.structs.replace(SETTINGS, linkage=Linkage(soft_limit_deg=6.0))
    bench = make_bench(low, changed(SCENARIO, board={"start_angle_deg": 5.5}))
    bench.machine.calibration = None
    bench.run(Homed(bench).task())
    assert bench.pulses[0][1] == pytest.approx(6.0, abs=0.01)
    assert bench.world.motor.position == bench.machine.stepper.count == 0


def test_without_a_calibration_a_board_on_its_switch_is_at_home(make_bench: MakeBench) -> None:
    bench = make_bench(scenario=changed(SCENARIO, board={"start_angle_deg": 0.0}))
    bench.machine.calibration = None
    bench.run(Homed(bench).task())
    assert bench.pulses[0][1] == pytest.approx(0.0, abs=0.01)


def test_a_count_that_is_known_is_kept(bench: Bench) -> None:
    bench.run(Homed(bench).task())
    n_pulses = len(bench.pulses)
    bench.run(Homed(bench).task())
    # Off the switch at once: no angle is captured for a first idea, and nothing is searched for.
    assert bench.pulses[n_pulses][0] - bench.begun_s < 0.1
    assert bench.world.motor.position == bench.machine.stepper.count == 0
