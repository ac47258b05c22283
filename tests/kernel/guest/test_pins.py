"""The rig's own devices on the real pin library and a real GPIO chip."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import groupby
from typing import Any

import numpy as np
import pytest
from far_pins import SimChip, Writes

from rig.clock import At, Clock, RealClock, Task, Until
from rig.devices.inputs import Edge, Inputs
from rig.devices.pins import chip_label, header_chip, real_factory
from rig.devices.stepper import MoveResult, Stepper
from rig.settings.model import Pins, Screw

PINS = Pins()
PATIENCE_S = 60.0
LATE_MS = 60_000.0
"""While the guest waits its clock follows the host's, and a busy host is late: that proves nothing
of the program, so it is told and never judged."""


class Plan:
    """Pulses of an even rate."""

    def __init__(self, pulses: int, direction: int, rate_hz: float = 250.0) -> None:
        self.direction = direction
        self.times_s = np.arange(1, pulses + 1) / rate_hz

    def brake(self, index: int) -> Any:
        return self.times_s[index : index + 5]


@pytest.fixture
def factory(chip: SimChip) -> Iterator[Any]:
    made = real_factory()
    yield made
    made.close()


@contextmanager
def opened_inputs(factory: Any) -> Iterator[tuple[RealClock, Inputs, Any]]:
    clock = RealClock()
    events = clock.queue()
    with Inputs(clock, factory, PINS, events) as inputs:
        yield clock, inputs, events


def settle(chip: SimChip) -> None:
    """Levels of a rig at rest; claiming an input has set its pull."""
    for gpio in (PINS.emergency_stop, PINS.limit_lower, PINS.limit_upper, PINS.beam_1):
        chip.drive(gpio, False)


def wait_for(clock: Clock, events: Any, wanted: int) -> list[Edge]:
    def listen() -> Task[list[Edge]]:
        edges: list[Edge] = []
        deadline_s = clock.time_s() + PATIENCE_S
        while len(edges) < wanted:
            edge = yield Until(events, deadline_s)
            if edge is None:
                return edges
            edges.append(edge)
        return edges

    return clock.run(listen())


def drain(clock: Clock, events: Any) -> None:
    clock.pause_s(0.3)
    while events.get_nowait() is not None:
        pass


def test_the_header_is_found_by_its_label(chip: SimChip) -> None:
    assert chip_label(chip.node) == "pinctrl-bcm2711"
    assert header_chip() == int(chip.node.name.removeprefix("gpiochip"))


def test_the_library_is_lgpio_and_sees_a_raspberry_pi_4(factory: Any) -> None:
    assert type(factory).__module__ == "gpiozero.pins.lgpio"
    assert factory.board_info.model == "4B"


def move(stepper: Stepper, clock: Clock, plan: Plan) -> MoveResult:
    return clock.run(stepper.move(plan))


def test_pulses_are_counted_by_the_other_side(
    factory: Any, chip: SimChip, writes: Writes, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = RealClock()
    with Stepper(clock, factory, PINS, Screw(), late_pulse_ms=LATE_MS) as stepper:
        assert not chip.level(PINS.enable)
        stepper.enable()
        assert chip.level(PINS.enable)
        up, down = (move(stepper, clock, plan) for plan in (Plan(300, +1), Plan(120, -1)))
        assert (up.pulses, up.ended_by) == (300, "plan")
        assert (down.pulses, down.ended_by) == (120, "plan")
        assert stepper.count == 180
    worst_ms = max(up.worst_late_us, down.worst_late_us) / 1e3
    with capsys.disabled():
        print(f" {up.late + down.late} of 420 pulses late, the worst by {worst_ms:.2f} ms", end=" ")
    assert not chip.level(PINS.enable)
    seen = writes.take()
    assert [level for level, _ in groupby(w.level for w in seen if w.gpio == PINS.enable)] == [
        False,
        True,
        False,
    ]
    position, direction, is_enabled, steps = 0, 0, False, []
    for write in seen:
        if write.gpio == PINS.enable:
            is_enabled = write.level
        elif write.gpio == PINS.direction:
            direction = 1 if write.level else -1
        elif write.gpio == PINS.step and write.level:
            assert is_enabled
            position += direction
            steps.append(write.t_s)
    assert len(steps) == 420
    assert position == 180
    assert sorted(steps) == steps
    levels = [w.level for w in seen if w.gpio == PINS.step and w.t_s >= steps[0]]
    assert levels == [True, False] * 420 + levels[840:]
    assert not any(levels[840:])


MOVING = """
import sys, time
from rig.clock import RealClock
from rig.devices.pins import real_factory
from rig.devices.stepper import Stepper
from rig.settings.model import Pins, Screw
from test_pins import LATE_MS, Plan
clock = RealClock()
with Stepper(clock, real_factory(), Pins(), Screw(), late_pulse_ms=LATE_MS) as stepper:
    stepper.enable()
    print("moves", flush=True)
    clock.run(stepper.move(Plan(100_000, +1)))
"""


@pytest.mark.parametrize("keeps", [True, False], ids=["kept", "let go"])
def test_lines_of_a_killed_program_stay_or_fall_to_their_pull(
    chip: SimChip, writes: Writes, keeps: bool
) -> None:
    """SIGKILL of everything in mid-move: nothing of ours runs any more.

    This chip gives a released line back to its pull, as a Pi does with `strict_gpiod`: a pull-down
    switches the driver off. A pull to high stands for a kernel that leaves the line as it was:
    then *enable* stays, and only `rig safe` or the emergency stop ends it. Pulses end either way.
    """
    for gpio in (PINS.enable, PINS.step, PINS.direction):
        chip.drive(gpio, keeps and gpio == PINS.enable)
    program = subprocess.Popen(
        [sys.executable, "-c", MOVING],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([*sys.path])},
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert program.stdout is not None
    try:
        assert program.stdout.readline() == "moves\n"
        seen: list[Any] = []
        clock = RealClock()
        deadline_s = clock.time_s() + PATIENCE_S
        while sum(w.gpio == PINS.step for w in seen) < 50 and clock.time_s() < deadline_s:
            clock.pause_s(0.05)
            seen += writes.take()
        assert chip.level(PINS.enable)
    finally:
        os.killpg(program.pid, signal.SIGKILL)
        program.wait()
        program.stdout.close()
    writes.take()
    clock.pause_s(0.5)
    assert writes.take() == [], "nobody writes to a line any more"
    assert chip.level(PINS.enable) is keeps
    assert not chip.level(PINS.step)


def test_no_pulse_follows_the_emergency_stop(factory: Any, chip: SimChip, writes: Writes) -> None:
    with opened_inputs(factory) as (clock, inputs, _):
        settle(chip)
        stepper = Stepper(
            clock,
            factory,
            PINS,
            Screw(),
            late_pulse_ms=LATE_MS,
            must_stop=lambda: inputs.emergency_stop_pressed,
        )

        def press_and_move() -> Task[tuple[MoveResult, float]]:
            handle = clock.spawn(stepper.move(Plan(4000, +1)), "move")
            while stepper.count < 100 and not handle.is_done:
                yield At(clock.time_s() + 0.01)
            chip.drive(PINS.emergency_stop, True)
            pressed_s = clock.time_s()
            result = yield from handle.join(clock.time_s() + PATIENCE_S)
            assert result is not None
            return result, pressed_s

        with stepper:
            stepper.enable()
            result, pressed_s = clock.run(press_and_move())
    assert result.ended_by == "must_stop"
    steps = [w.t_s for w in writes.take() if w.gpio == PINS.step and w.level]
    assert len(steps) == result.pulses
    assert 100 <= len(steps) < 4000
    # One pulse may have been on its way when the level changed.
    assert sum(t_s > pressed_s for t_s in steps) <= 1


@pytest.mark.parametrize(
    ("name", "gpio", "active_high"),
    [
        ("limit_lower", PINS.limit_lower, True),
        ("limit_upper", PINS.limit_upper, True),
        ("emergency_stop", PINS.emergency_stop, True),
        ("beam_1", PINS.beam_1, True),
        ("start_button", PINS.start_button, False),
        ("stop_button", PINS.stop_button, False),
    ],
)
def test_edges_arrive_in_order_with_their_time(
    factory: Any, chip: SimChip, name: str, gpio: int, active_high: bool
) -> None:
    with opened_inputs(factory) as (clock, inputs, events):
        settle(chip)
        chip.drive(gpio, not active_high)
        drain(clock, events)
        driven = []
        for i in range(10):
            before_s = clock.time_s()
            chip.drive(gpio, (i % 2 == 0) == active_high)
            clock.pause_s(0.02)
            driven.append((before_s, clock.time_s()))
        edges = wait_for(clock, events, 10)
        assert [edge.name for edge in edges] == [name] * 10
        assert [edge.active for edge in edges] == [True, False] * 5
        for edge, (before_s, after_s) in zip(edges, driven, strict=True):
            assert before_s <= edge.t_s <= after_s
        assert inputs.bad_stamps == 0
        assert inputs.failed_callbacks == 0
        assert inputs.levels()[name] is False


def test_edges_of_several_pins_keep_their_order(factory: Any, chip: SimChip) -> None:
    pair = {"beam_1": PINS.beam_1, "limit_upper": PINS.limit_upper}
    with opened_inputs(factory) as (clock, _, events):
        settle(chip)
        drain(clock, events)
        wanted = []
        for i in range(20):
            for name, gpio in pair.items():
                chip.drive(gpio, i % 2 == 0)
                wanted.append((name, i % 2 == 0))
                clock.pause_s(0.005)
        edges = wait_for(clock, events, len(wanted))
        assert [(edge.name, edge.active) for edge in sorted(edges)] == wanted


def test_a_held_emergency_stop_is_seen_without_an_edge(factory: Any, chip: SimChip) -> None:
    with opened_inputs(factory) as (_, inputs, _events):
        settle(chip)
        assert not inputs.emergency_stop_pressed
        chip.drive(PINS.emergency_stop, True)
        assert inputs.emergency_stop_pressed


def test_a_broken_wire_reads_as_a_stop(factory: Any, chip: SimChip) -> None:
    with opened_inputs(factory) as (_, inputs, _events):
        # Nobody drives the lines after they were claimed: only their pull-ups do.
        assert inputs.emergency_stop_pressed
        assert inputs.limit_lower_reached
        assert inputs.limit_upper_reached
        assert not inputs.start_pressed
