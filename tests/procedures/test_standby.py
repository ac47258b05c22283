"""The service: nothing moves before a person presses start, and a fault waits for one."""

from collections.abc import Callable, Generator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from rig.clock import At, Task
from rig.control.faults.table import told
from rig.control.mover import StoppedError
from rig.control.stop import StopRequest
from rig.errors import BadInputError, MachineFaultError, RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.procedures.standby import BACK_HOME, stand_by
from rig.runfile.model import State
from rig.runfile.reader import read_run
from tests.faults.harness import SCENARIO, SETTINGS
from tests.twin_of import twin_of

Script = Callable[[OpenRig], Generator[Any, Any, None]]


class Service:
    """The service on the twin, with a person whose hands follow a script."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.pulses: list[float] = []
        self.rig = rig = open_twin(SETTINGS, SCENARIO, 3)
        step, clock = twin_of(rig).world.on_step, rig.machine.clock

        def on_step() -> None:
            self.pulses.append(clock.time_s())
            step()

        twin_of(rig).world.on_step = on_step  # type: ignore[method-assign]

    def press(self, button: str = "start_button", seconds: float = 0.2) -> Task[None]:
        world, clock = twin_of(self.rig).world, self.rig.machine.clock
        world.press(button, True)
        yield At(clock.time_s() + seconds)
        world.press(button, False)

    def wait(self, seconds: float) -> Task[None]:
        yield At(self.rig.machine.clock.time_s() + seconds)

    def run(self, script: Callable[[], Task[None]]) -> None:
        """Serve until the script is over."""
        machine = self.rig.machine

        def one() -> Task[Any]:
            now = machine.clock.utc_now()
            asked = plan_series(SETTINGS, 1, source="twin", started=now)
            return make_runs(machine, asked, self.folder, start_now=True)

        def acts() -> Task[None]:
            yield from self.wait(0.5)
            try:
                yield from script()
            except AssertionError as error:
                failures.append(error)
            machine.events.put(StopRequest("SIGTERM", ends_program=True))

        failures: list[AssertionError] = []
        with self.rig as rig:
            machine.clock.spawn(acts(), "person")
            with pytest.raises(StoppedError):
                machine.clock.run(stand_by(machine, one))
            assert not twin_of(rig).world.motor.is_enabled
        if failures:
            raise failures[0]

    def outcomes(self) -> list[str | None]:
        runs = [read_run(path) for path in sorted(self.folder.rglob("*.run.jsonl"))]
        return [run.end.outcome if run.end else None for run in runs]


@pytest.fixture
def service(tmp_path: Path) -> Service:
    return Service(tmp_path)


def test_nothing_moves_before_start_is_pressed(service: Service) -> None:
    def script() -> Task[None]:
        yield from service.wait(60.0)
        assert service.pulses == []
        assert not twin_of(service.rig).world.motor.is_enabled
        assert "Press start" in service.rig.machine.live.wants
        yield from service.press()
        yield from service.wait(30.0)

    service.run(script)
    assert service.outcomes() == ["slid"]


def test_a_start_button_held_at_boot_starts_nothing(service: Service) -> None:
    twin_of(service.rig).world.press("start_button", True)

    def script() -> Task[None]:
        yield from service.wait(60.0)
        assert service.pulses == []
        twin_of(service.rig).world.press("start_button", False)
        yield from service.wait(1.0)
        assert service.pulses == []
        yield from service.press()
        yield from service.wait(30.0)

    service.run(script)
    assert service.outcomes() == ["slid"]


def test_after_a_fault_it_waits_for_a_person_and_keeps_the_first_cause(service: Service) -> None:
    world = twin_of(service.rig).world

    def script() -> Task[None]:
        machine = service.rig.machine
        yield from service.press()
        yield from service.wait(4.0)
        assert service.pulses
        world.press("emergency_stop", True)
        yield from service.wait(1.0)
        n_pulses = len(service.pulses)
        assert machine.live.state == "halted"
        assert machine.latched is not None
        assert machine.latched.cause == "emergency_stop"
        world.press("emergency_stop", False)
        # Released is not reset: nothing moves by itself.
        yield from service.wait(30.0)
        assert len(service.pulses) == n_pulses
        assert "emergency stop" in machine.live.wants
        yield from service.press()
        yield from service.wait(30.0)
        assert len(service.pulses) > n_pulses
        assert machine.latched is None

    service.run(script)
    assert service.outcomes() == ["fault", "slid"]


def test_a_press_while_the_emergency_stop_is_down_moves_nothing(service: Service) -> None:
    twin_of(service.rig).world.press("emergency_stop", True)

    def script() -> Task[None]:
        yield from service.wait(1.0)
        yield from service.press()
        yield from service.wait(5.0)
        assert service.pulses == []
        assert "release it first" in service.rig.machine.live.wants

    service.run(script)
    assert service.outcomes() == []


def test_a_sensor_that_stays_away_keeps_the_fault(service: Service) -> None:
    chips = twin_of(service.rig).bus.chips

    def script() -> Task[None]:
        machine = service.rig.machine
        address = machine.settings.bus.imu_address
        yield from service.press()
        yield from service.wait(4.0)
        chip = chips.pop(address)
        yield from service.wait(2.0)
        n_pulses = len(service.pulses)
        yield from service.press()
        yield from service.wait(5.0)
        assert len(service.pulses) == n_pulses
        assert machine.latched is not None
        assert machine.latched.cause == "bus"
        chips[address] = chip
        yield from service.press()
        yield from service.wait(40.0)

    service.run(script)
    assert service.outcomes() == ["fault", "slid"]


def test_the_control_loop_beats_all_the_time(service: Service) -> None:
    machine = service.rig.machine
    beats: list[float] = []
    machine.on_beat = lambda: beats.append(machine.clock.time_s())

    def script() -> Task[None]:
        yield from service.wait(5.0)
        yield from service.press()
        yield from service.wait(30.0)

    began_s = machine.clock.time_s()
    service.run(script)
    gaps = [b - a for a, b in pairwise([began_s, *beats, machine.clock.time_s()])]
    assert max(gaps) < 0.5


def test_a_signal_during_a_smooth_stop_is_not_lost(service: Service) -> None:
    def script() -> Task[None]:
        yield from service.press()
        yield from service.wait(3.5)
        assert service.rig.machine.stepper.moving
        twin_of(service.rig).world.press("stop_button", True)
        yield from service.wait(0.02)
        # The script's end asks for the end of the service while the board still brakes.

    service.run(script)
    assert service.outcomes() == ["stopped"]


def resting(*errors: RigError | None) -> tuple[list[str], list[State], OpenRig]:
    """A service whose series end at once in this way, each after a press; what it then wants."""
    rig = open_twin(SETTINGS, SCENARIO, 3)
    machine, left = rig.machine, list(errors)
    wants: list[str] = []
    states: list[State] = []

    def series() -> Task[None]:
        yield At(machine.clock.time_s() + 1.0)
        error = left.pop(0)
        if error is not None:
            raise error

    def person() -> Task[None]:
        for _ in errors:
            yield At(machine.clock.time_s() + 0.5)
            twin_of(rig).world.press("start_button", True)
            yield At(machine.clock.time_s() + 0.2)
            twin_of(rig).world.press("start_button", False)
            yield At(machine.clock.time_s() + 2.0)
            wants.append(machine.live.wants)
            states.append(machine.live.state)
        machine.events.put(StopRequest("SIGTERM", ends_program=True))

    with rig:
        machine.clock.spawn(person(), "person")
        with pytest.raises(StoppedError):
            machine.clock.run(stand_by(machine, series))
    return wants, states, rig


@pytest.mark.parametrize(
    "error",
    [
        None,
        StoppedError("Stopped by the stop button."),
        BadInputError("No space is left."),
        RigError("Something else."),
    ],
)
def test_the_service_outlasts_what_ends_a_series(error: RigError | None) -> None:
    (first, second), _, _ = resting(error, None)
    assert first == f"{error or 'The series is done.'} {BACK_HOME}"
    assert second == f"The series is done. {BACK_HOME}"


def test_a_fault_halts_the_service_until_a_press_and_is_shown() -> None:
    reason = MachineFaultError("low_supply", "It is low.")
    (first, second), states, rig = resting(reason, None)
    assert first == f"{told(reason)} {BACK_HOME}"
    assert states[0] == "halted"
    assert second == f"The series is done. {BACK_HOME}"
    assert rig.machine.latched is None
    assert rig.machine.homes_slowly, "after a fault nobody knows how the board stands"


def test_the_first_cause_stays_until_then() -> None:
    first = MachineFaultError("low_supply", "It is low.")
    rig = open_twin(SETTINGS, SCENARIO, 3)
    machine = rig.machine

    def series() -> Task[None]:
        yield At(machine.clock.time_s() + 0.1)
        machine.latch(first)
        raise MachineFaultError("over_time", "It is late.")

    def person() -> Task[None]:
        yield At(machine.clock.time_s() + 0.5)
        twin_of(rig).world.press("start_button", True)
        yield At(machine.clock.time_s() + 2.0)
        assert str(first) in machine.live.wants
        machine.events.put(StopRequest("SIGTERM", ends_program=True))

    with rig:
        watched = machine.clock.spawn(person(), "person")
        with pytest.raises(StoppedError):
            machine.clock.run(stand_by(machine, series))
    watched.result()


def test_a_signal_in_a_series_ends_the_service(service: Service) -> None:
    machine = service.rig.machine

    def series() -> Task[None]:
        yield At(machine.clock.time_s() + 0.1)
        raise StoppedError("Stopped by SIGINT.", ends_program=True)

    def person() -> Task[None]:
        yield from service.wait(0.5)
        yield from service.press()
        yield from service.wait(5.0)
        machine.events.put(StopRequest("SIGTERM", ends_program=True))

    with service.rig:
        machine.clock.spawn(person(), "person")
        with pytest.raises(StoppedError, match="SIGINT"):
            machine.clock.run(stand_by(machine, series))
