"""The opened machine: how it opens and closes, what switches it off, what a reset does."""

from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.control.blade.plan import plan_blade
from rig.control.live import Live
from rig.control.machine import Machine
from rig.control.process.lock import RigLock, holder
from rig.errors import BusyError, MachineFaultError, RigError
from rig.opening import open_twin
from tests.control.conftest import MakeBench
from tests.control.machine_bench import BLADE, EXACT, SCENARIO, SETTINGS, Bench

DEVICES = ("stepper", "blade", "lamp", "inputs", "bus", "imu", "climate", "pin_factory", "lock")


def note_closing(machine: Machine, order: list[str], fails: Collection[str] = ()) -> None:
    """Have each device tell when it is closed; some fail after that."""

    def noted(name: str, close: Callable[[], Any]) -> Callable[[], Any]:
        def closing() -> None:
            close()
            order.append(name)
            if name in fails:
                raise OSError(f"{name} fails")

        return closing

    for name in DEVICES:
        device = getattr(machine, name)
        if device is not None:
            device.close = noted(name, device.close)


BACKWARDS = ["climate", "imu", "bus", "inputs", "lamp", "pin_factory", "lock"]


@pytest.mark.parametrize(
    ("settings", "motors"), [(SETTINGS, ["stepper"]), (BLADE, ["stepper", "blade"])]
)
def test_the_motors_are_closed_first_and_all_others_backwards(
    tmp_path: Path, settings: Any, motors: list[str]
) -> None:
    order: list[str] = []
    rig = open_twin(settings, EXACT, 3)
    rig.machine.lock = RigLock(tmp_path / "rig.lock")
    with rig:
        note_closing(rig.machine, order)
    assert order == motors + BACKWARDS


@pytest.mark.parametrize("fails", [*([name] for name in DEVICES[:-1]), ["bus", "stepper", "imu"]])
def test_a_device_that_fails_to_close_hinders_no_other_and_the_first_is_told(
    tmp_path: Path, fails: list[str]
) -> None:
    order: list[str] = []
    rig = open_twin(BLADE, EXACT, 3)
    rig.machine.lock = RigLock(tmp_path / "rig.lock")
    with pytest.raises(OSError, match="fails") as caught, rig:
        note_closing(rig.machine, order, fails)
    assert order == ["stepper", "blade", *BACKWARDS]
    assert str(caught.value) == min(fails, key=order.index) + " fails"


def test_a_machine_that_cannot_be_opened_lets_everything_go(tmp_path: Path) -> None:
    rig = open_twin(SETTINGS, SCENARIO, 3)
    assert rig.twin is not None
    rig.machine.lock = RigLock(tmp_path / "rig.lock")
    rig.twin.bus.chips.clear()
    with pytest.raises(RigError), rig:
        pass
    assert holder(tmp_path / "rig.lock") is None
    assert rig.twin.world.pins == {}
    assert rig.machine.pin_factory is None


def test_the_lock_is_taken_before_the_pins_are_made(tmp_path: Path) -> None:
    held = RigLock(tmp_path / "rig.lock")
    held.open()
    made: list[str] = []
    rig = open_twin(SETTINGS, SCENARIO, 3)
    rig.machine.lock = RigLock(tmp_path / "rig.lock")
    rig.machine._open_pins = lambda: made.append("pins")  # noqa: SLF001 - what opening begins with
    with pytest.raises(BusyError), rig:
        pass
    held.close()
    assert made == []


def switched_on(bench: Bench) -> tuple[bool, bool]:
    """The enable lines of board and blade."""
    assert bench.world.pusher is not None
    return bench.world.motor.is_enabled, bench.world.pusher.body.is_enabled


@pytest.mark.parametrize("what", ["motors_off", "latch", "close"])
def test_both_drivers_are_switched_off(make_bench: MakeBench, what: str) -> None:
    bench = make_bench(BLADE)
    machine = bench.machine
    assert machine.blade is not None
    machine.stepper.enable()
    machine.blade.enable()
    assert switched_on(bench) == (True, True)
    if what == "latch":
        machine.latch(MachineFaultError("disk", "It is full."))
    else:
        getattr(machine, what)()
    assert switched_on(bench) == (False, False)


def test_the_first_fault_is_kept_and_the_count_is_not_trusted_any_more(bench: Bench) -> None:
    bench.machine.is_homed = True
    first = MachineFaultError("disk", "It is full.")
    bench.machine.latch(first)
    assert not bench.machine.is_homed
    bench.machine.latch(MachineFaultError("low_supply", "It is low."))
    assert bench.machine.latched is first


def test_a_reset_forgets_the_fault_and_what_led_to_it(bench: Bench) -> None:
    machine = bench.machine
    machine.latch(MachineFaultError("imu_silent", "It is silent."))
    machine.last_run_reason = MachineFaultError("climate_doubtful", "It is doubtful.")
    machine.doubtful_climates = 3
    machine.live = Live(angle_deg=1.0, angle_seen_s=1.0)
    bench.clock.advance_to(100.0)
    closed: list[str] = []
    note_closing(machine, closed)
    machine.reset()
    assert closed == ["imu", "climate"]
    assert (machine.latched, bench.last_run(), machine.live.angle_deg) == (None, None, None)
    assert (machine.doubtful_climates, machine.homes_slowly, machine.is_homed) == (0, True, False)
    # The sensor has half a second from now on.
    assert bench.met("parked") is None
    assert machine.opened_s == bench.clock.time_s()


def test_a_reset_judges_the_sensor_by_new_samples(bench: Bench) -> None:
    machine = bench.machine
    health = machine._health  # noqa: SLF001 - nothing public leads to it
    assert health is not None
    health.feed([(1, 2, 16384)] * 12, None)
    assert machine.sensor_problem() is not None
    machine.reset()
    assert machine.sensor_problem() is None


def test_a_fault_stays_while_a_sensor_cannot_be_set_up(bench: Bench) -> None:
    machine = bench.machine
    first = MachineFaultError("imu_silent", "It is silent.")
    machine.latch(first)
    assert bench.rig.twin is not None
    bench.rig.twin.bus.chips.pop(SETTINGS.bus.climate_address)
    with pytest.raises(RigError):
        machine.reset()
    assert machine.latched is first


def test_a_state_is_written_shown_and_marks_the_clocks(bench: Bench) -> None:
    machine = bench.machine
    machine.live.wants = "a bag"
    machine.host.clock_jump_s = 3600.0
    shown: list[str] = []
    machine.lamp.show = shown.append  # type: ignore[method-assign,assignment]
    bench.recorder("homing")
    assert [event.detail for event in bench.lines.events("state")] == [{"state": "homing"}]
    assert machine.live.state == "homing"
    assert machine.live.wants == ""
    assert machine.host.clock_jump_s == 0.0
    assert shown == ["homing"]


def test_it_moves_while_either_motor_does(
    make_bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine = make_bench(BLADE).machine
    assert not machine.is_moving
    moved = []
    for axis in (machine.stepper, machine.blade):
        with monkeypatch.context() as patch:
            patch.setattr(axis, "_plan", object())
            moved.append(machine.is_moving)
    assert moved == [True, True]


def test_every_sign_of_life_is_passed_on(bench: Bench) -> None:
    beats: list[float] = []
    bench.machine.on_beat = lambda: beats.append(bench.clock.time_s())
    bench.machine.beat()
    assert beats == [bench.clock.time_s()]


@pytest.mark.parametrize("uphill_is_high", [True, False])
def test_the_blades_direction_is_its_own(make_bench: MakeBench, uphill_is_high: bool) -> None:
    pins = msgspec.structs.replace(
        BLADE.pins, blade_uphill_is_high=uphill_is_high, direction_raises_high=not uphill_is_high
    )
    bench = make_bench(msgspec.structs.replace(BLADE, pins=pins), EXACT)
    blade = bench.machine.blade
    assert blade is not None
    blade.enable()
    bench.machine.beat()
    bench.clock.run(blade.move(plan_blade(bench.machine.settings, 0, 20)))
    assert bench.world.pusher is not None
    assert bench.world.pusher.body.place_mm == pytest.approx(474.0)
    assert blade.count == 20
