"""The self-test on the twin: homed before anything moves, asked for before that, safe after."""

from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from rig.clock import At, Task
from rig.opening import OpenRig, open_twin
from rig.procedures.runs import FIRST_LOOK_S, start_watching, stop_watching
from rig.procedures.selftest.moves import Finding
from rig.procedures.selftest.selftest import self_test
from rig.settings.model import Settings
from tests.control.blade_rig import NO_SWITCH, soft_bag
from tests.control.blade_rig import SETTINGS as BLADE
from tests.twin_of import twin_of

Found = dict[str, Finding]


def no_person(rig: OpenRig) -> None:
    """Nothing more happens to it."""


def examine(
    settings: Settings,
    *,
    now: bool = False,
    presses: bool = True,
    before: Callable[[OpenRig], None] = no_person,
    **truth: Any,
) -> tuple[OpenRig, Found, list[tuple[str, str]], list[str]]:
    """The rig, what was found, each pulse with its state, and what a person was told."""
    rig = open_twin(settings, soft_bag(**truth), 3)
    machine, world = rig.machine, twin_of(rig).world
    pulses: list[tuple[str, str]] = []
    told: list[str] = []

    def noted(axis: str, step: Callable[[], None]) -> Callable[[], None]:
        def on_step() -> None:
            if pulses[-1:] != [(axis, machine.live.state)]:
                pulses.append((axis, machine.live.state))
            step()

        return on_step

    world.on_step = noted("board", world.on_step)  # type: ignore[method-assign]
    world.on_blade_step = noted("blade", world.on_blade_step)  # type: ignore[method-assign]

    def test() -> Task[list[Finding]]:
        watchers = start_watching(machine)
        yield At(machine.clock.time_s() + FIRST_LOOK_S)
        before(rig)
        findings = yield from self_test(machine, move=True, ask=None if now else told.append)
        yield from stop_watching(machine, watchers)
        return findings

    with rig:
        findings = rig.run(test(), presses=presses)
        assert not world.motor.is_enabled
        assert world.pusher is None or not world.pusher.body.is_enabled
    return rig, {finding.name: finding for finding in findings}, pulses, told


def test_it_homes_moves_the_board_and_then_the_blade() -> None:
    rig, found, pulses, told = examine(BLADE)
    assert all(finding.is_good for finding in found.values())
    assert len(told) == 1
    assert "press start" in told[0]
    assert pulses == [
        ("board", "homing"),
        ("board", "raising"),
        ("board", "lowering"),
        ("blade", "placing"),
    ]
    assert rig.machine.live.state == "parked"
    pusher = twin_of(rig).world.pusher
    assert pusher is not None
    assert pusher.body.is_parked
    assert abs(pusher.body.place_mm - 300.0) < 0.5
    assert abs(rig.machine.step_angle_deg()) < 0.05


def test_without_a_blade_only_the_board_moves() -> None:
    _, found, pulses, _ = examine(Settings())
    assert "blade" not in found
    assert {axis for axis, _ in pulses} == {"board"}


def test_a_blade_without_a_switch_is_to_be_looked_at() -> None:
    _, found, _, _ = examine(msgspec.structs.replace(BLADE, pins=NO_SWITCH), now=True)
    assert "look whether it moved" in found["blade"].text


def test_nothing_moves_while_nobody_presses_start() -> None:
    _, found, pulses, _ = examine(BLADE, presses=False)
    assert not found["movement"].is_good
    assert "Nobody pressed start within 60 s" in found["movement"].text
    assert pulses == []


def test_with_now_nobody_is_asked() -> None:
    _, found, _, told = examine(Settings(), now=True, presses=False)
    assert told == []
    assert found["movement"].is_good


@pytest.mark.parametrize(("wrong", "cause"), [("limit", "lower switch"), ("motor", "motor")])
def test_a_fault_of_the_board_keeps_the_blade_still(wrong: str, cause: str) -> None:
    def break_it(rig: OpenRig) -> None:
        if wrong == "motor":
            twin_of(rig).world.motor.step = lambda now_s: False  # type: ignore[method-assign]
        else:
            pin = twin_of(rig).world.pins[BLADE.pins.limit_lower]
            pin.drive(True, rig.machine.clock.time_s())
            pin.drive = lambda *_: None  # type: ignore[method-assign]

    rig, found, pulses, _ = examine(BLADE, now=True, before=break_it)
    assert not found["movement"].is_good
    assert cause in found["movement"].text
    assert "blade" not in {axis for axis, _ in pulses}
    assert rig.machine.latched is not None
    assert rig.machine.live.state == "halted"


def test_a_blade_that_does_not_leave_its_switch_is_found() -> None:
    _, found, _, _ = examine(BLADE, now=True, blade={"jam_mm": 0.0})
    assert not found["movement"].is_good
    assert "park switch is still open" in found["movement"].text
