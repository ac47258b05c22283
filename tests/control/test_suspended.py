"""A program that was stopped and goes on says so; what was late because of it is no other fault."""

from collections.abc import Callable
from typing import Any

import pytest

from rig.control.mover import Mover
from rig.errors import MachineFaultError
from rig.runfile.model import State
from tests.control.conftest import MakeBench
from tests.control.machine_bench import Bench
from tests.control.test_mover import Axis, moving


@pytest.fixture
def bench(make_bench: MakeBench) -> Bench:
    return make_bench(reads=False)


def held(bench: Bench, seconds: float) -> Callable[[], None]:
    """The process stands still for so long and goes on; no task runs meanwhile."""

    def hold() -> None:
        bench.clock._now += seconds  # noqa: SLF001 - time passes, and nothing is done in it
        bench.machine.continued()

    return hold


@pytest.mark.parametrize("state", ["homing", "placing", "dwelling", "raising", "lowering"])
def test_in_mid_work_it_is_a_fault_of_its_own(bench: Bench, state: State) -> None:
    bench.machine.enter(state)
    with pytest.raises(MachineFaultError, match=r"suspended for 5\.[01] s and then contin") as met:
        bench.run(Mover(bench.machine).wait_s(1.0), bench.after(0.5, held(bench, 5.0)))
    assert met.value.cause == "suspended"


@pytest.mark.parametrize("state", ["parked", "halted"])
def test_at_rest_nothing_was_missed(bench: Bench, state: State) -> None:
    bench.machine.enter(state)
    bench.run(Mover(bench.machine).wait_s(0.1))
    held(bench, 5.0)()
    assert bench.machine.held_up_s is None


@pytest.mark.parametrize(("seconds", "counts"), [(0.45, False), (0.55, True)])
def test_half_a_second_is_nothing(bench: Bench, seconds: float, counts: bool) -> None:
    bench.machine.enter("homing")
    bench.machine.beat()
    held(bench, seconds)()
    assert (bench.met() == "suspended") is counts


def test_pulses_that_ended_meanwhile_and_sensors_that_failed_are_not_blamed(bench: Bench) -> None:
    machine = bench.machine
    machine.enter("raising")
    axis = Axis(bench, ended_by="must_stop")
    machine.cut_by = "control_silent"

    def stand_still() -> None:
        machine.held_up_s = 3.0

    def fails() -> Any:
        yield from bench.after(0.2, stand_still)
        raise MachineFaultError("imu_silent", "It says nothing.")

    def spawn() -> None:
        bench.clock.spawn(fails(), "sensor", report_to=machine.events)

    with pytest.raises(MachineFaultError) as met:
        bench.run(moving(bench, axis), bench.after(0.1, spawn))
    assert met.value.cause == "suspended"
    with pytest.raises(MachineFaultError) as met:
        Mover(machine)._look_at_end(bench.run(axis.move(None)))  # noqa: SLF001
    assert met.value.cause == "suspended"
    machine.reset()
    assert bench.met() is None
