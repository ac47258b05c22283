from collections.abc import Iterator
from math import atan, degrees
from pathlib import Path

import msgspec
import numpy as np
import pytest
from gpiozero import DigitalOutputDevice, InputDevice

from rig.clock import At, RealClock, Task, VirtualClock
from rig.settings.model import Pins, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.rig import TwinRig
from rig.twin.scenario import Scenario, Truth
from tests.teeth import without

SETTINGS = Settings(pins=Pins(beam_2=18))
PINS = SETTINGS.pins
FLAT = {
    "floor_along_deg": 0.0,
    "floor_across_deg": 0.0,
    "hinge_cross_deg": 0.0,
    "base_pivot_error_mm": 0.0,
    "cradle_pivot_error_mm": 0.0,
    "start_angle_deg": 0.4,
}


def flat(**sections: dict[str, object]) -> Scenario:
    board = FLAT | sections.pop("board", {})
    return changed(without(draw_scenario(1, face=plain_face(0.4, 0.36))), board=board, **sections)


class Bench:
    """A twin with its lines in hand, and a log of its inputs' edges."""

    def __init__(self, scenario: Scenario, clock: VirtualClock | RealClock | None = None) -> None:
        self.clock = clock or VirtualClock()
        self.rig = TwinRig(SETTINGS, scenario, 1, self.clock)
        self.world, self.motor = self.rig.world, self.rig.world.motor
        make = self.rig.factory
        self.step, self.direction, self.enable = (
            DigitalOutputDevice(n, pin_factory=make)
            for n in (PINS.step, PINS.direction, PINS.enable)
        )
        self.edges: list[tuple[float, int, bool]] = []
        self.inputs = [
            InputDevice(n, pull_up=True, pin_factory=make)
            for n in (PINS.limit_lower, PINS.limit_upper, PINS.beam_1, 18, PINS.start_button)
        ]
        self._watches = []
        for device in self.inputs:
            watch = self._watch(device.pin.gpio)
            self._watches.append(watch)
            device.pin.edges = "both"
            device.pin.when_changed = watch

    def _watch(self, gpio: int):  # noqa: ANN202, RUF100
        def changed(ticks: float, state: bool) -> None:
            self.edges.append((ticks, gpio, bool(state)))

        return changed

    def level(self, gpio: int) -> bool:
        """Level of an input as its pin has it."""
        return bool(next(d for d in self.inputs if d.pin.gpio == gpio).pin.state)

    def pulses(self, n: int, rate_hz: float, *, up: bool = True) -> Task[None]:
        """Task: so many step pulses."""
        self.enable.on()
        self.direction.value = up
        pin, due = self.step.pin, self.clock.time_s() + 1.0 / rate_hz
        for _ in range(n):
            due = (yield At(due)) + 1.0 / rate_hz
            pin.state = True
            pin.state = False

    def turn(self, n: int, rate_hz: float = 500.0, *, up: bool = True) -> None:
        """Make pulses, with nothing else going on."""
        self.clock.run(self.pulses(n, rate_hz, up=up))

    def close(self) -> None:
        """Let go of the pins."""
        self.rig.factory.close()


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench(flat())
    yield made
    made.close()


def test_lower_switch_opens_at_home_and_closes_a_little_above(bench: Bench) -> None:
    start = bench.motor.position
    assert not bench.level(PINS.limit_lower)
    bench.turn(start - 1, up=False)
    assert not bench.level(PINS.limit_lower)
    bench.turn(1, up=False)
    assert bench.motor.position == 0
    assert bench.motor.angle_deg == pytest.approx(SETTINGS.linkage.home_angle_deg)
    assert bench.level(PINS.limit_lower)
    bench.turn(2)
    assert bench.level(PINS.limit_lower)
    bench.turn(2)
    assert not bench.level(PINS.limit_lower)


def test_upper_switch_and_hard_stops(bench: Bench) -> None:
    top = bench.motor.position_at(SETTINGS.linkage.travel_deg)
    bench.turn(int(top - bench.motor.position) + 1200)
    assert bench.level(PINS.limit_upper)
    assert bench.motor.angle_deg == pytest.approx(SETTINGS.linkage.travel_deg + 1.0, abs=0.01)
    assert bench.motor.lost > 0


def test_edges_carry_the_crossing_time_and_the_receivers_response(bench: Bench) -> None:
    bench.turn(int(bench.motor.position_at(24.0)) - bench.motor.position, 700.0)
    truth = bench.world.truth()
    assert truth is not None
    assert truth.onset_angle_deg == pytest.approx(degrees(atan(0.4)), abs=1e-6)
    beams = [(gpio, state) for _, gpio, state in bench.edges if gpio in (PINS.beam_1, 18)]
    assert beams == [(PINS.beam_1, True), (18, True), (PINS.beam_1, False), (18, False)]
    slide = bench.world.bag.slide
    assert slide is not None
    times = [t for t, gpio, _ in bench.edges if gpio == PINS.beam_1]
    # Not rounded to pulses, which are 1.4 ms apart: solve the same slide in one piece.
    again = bench.world.bag.raise_from(0.0)
    assert truth.onset_time_s is not None
    position = np.array(bench.motor._places, dtype=float)  # noqa: SLF001 - the motor's history
    history = np.array(bench.motor._times)  # noqa: SLF001
    again.time_s = truth.onset_time_s - 0.5
    expected = again.advance(
        bench.clock.time_s(),
        lambda t: bench.motor.angle_rad(float(np.interp(t, history, position))),
    )
    response_s = bench.world.scenario.beam.response_ms / 1000.0
    assert times == pytest.approx(
        [e.time_s + response_s for e in expected if e.beam == 1], abs=1e-4
    )


def test_motor_loses_steps_above_its_speed(bench: Bench) -> None:
    # Too fast from rest: beyond pull-in without a ramp.
    start = bench.motor.position
    bench.turn(100, 1500.0)
    assert bench.motor.lost > 0
    assert bench.motor.position - start < 100
    lost = bench.motor.lost
    for rate_hz in (300.0, 700.0, 1500.0, 2000.0):
        bench.turn(50, rate_hz)
    assert bench.motor.lost == lost
    bench.turn(50, 3000.0)
    assert bench.motor.lost > lost + 40


def test_disabled_driver_moves_nothing_and_holds_the_place(bench: Bench) -> None:
    bench.turn(500)
    bench.enable.off()
    place = bench.motor.position
    bench.direction.on()
    bench.step.on()
    bench.step.off()
    bench.clock.run(_wait(bench, 5.0))
    assert bench.motor.position == place


def _wait(bench: Bench, seconds: float) -> Task[None]:
    yield At(bench.clock.time_s() + seconds)


def test_jam_loses_steps() -> None:
    made = Bench(flat(board={"jam_deg": 10.0}))
    made.turn(int(made.motor.position_at(12.0)))
    assert made.motor.angle_deg == pytest.approx(10.0, abs=0.01)
    made.close()


def test_releasing_the_enable_line_disables_the_driver(bench: Bench) -> None:
    bench.enable.on()
    assert bench.motor.is_enabled
    bench.close()
    assert not bench.motor.is_enabled


def test_motion_between_pulses_is_smooth(bench: Bench) -> None:
    bench.turn(3000, 600.0)
    now = bench.clock.time_s()
    times = np.linspace(now - 0.5, now - 0.02, 97)
    motion = bench.motor.motion(times, now)
    assert motion.pulse_rate_hz == pytest.approx(600.0, rel=1e-6)
    assert np.abs(motion.acceleration_rad_s2).max() < 1e-3
    steps = np.diff(motion.angle_rad)
    assert steps == pytest.approx(steps.mean(), rel=0.01)
    assert np.abs(np.diff(steps)).max() < 1e-7
    # One pulse after the last at most, then it stands.
    bench.clock.run(_wait(bench, 1.0))
    late = bench.motor.motion(np.array([now + 0.5]), bench.clock.time_s())
    assert late.angle_rad[0] == pytest.approx(bench.motor.angle_rad(bench.motor.position))
    assert late.pulse_rate_hz[0] == 0.0


def test_a_pause_is_a_pause_afterwards_too(bench: Bench) -> None:
    bench.turn(1000)
    stopped = bench.clock.time_s()
    bench.clock.run(_wait(bench, 2.0))
    bench.turn(10)
    motion = bench.motor.motion(np.array([stopped + 0.5, stopped + 1.5]), bench.clock.time_s())
    assert motion.angle_rad[0] == motion.angle_rad[1]


def test_a_bag_that_slides_while_the_motor_stands_goes_on(bench: Bench) -> None:
    bench.clock.run(bench.pulses(int(bench.motor.position_at(21.9)) - bench.motor.position, 700.0))
    assert bench.world.is_bag_sliding
    bench.clock.spawn(bench.rig.person(), "person")
    bench.clock.run(_wait(bench, 2.0))
    clear = [t for t, gpio, state in bench.edges if gpio == PINS.beam_1 and not state]
    assert len(clear) == 1
    assert not bench.world.is_bag_sliding


def test_person_puts_the_bag_back_and_presses_start(bench: Bench) -> None:
    bench.turn(int(bench.motor.position_at(24.0)) - bench.motor.position, 700.0)
    bench.clock.spawn(bench.rig.person(), "person")
    bench.clock.run(_wait(bench, 10.0))
    assert not any(gpio == PINS.start_button for _, gpio, _ in bench.edges)
    down = bench.motor.position - int(bench.motor.position_at(0.3))

    def lower_and_wait() -> Task[None]:
        yield from bench.pulses(down, 800.0, up=False)
        bench.enable.off()
        yield At(bench.clock.time_s() + 5.0)

    bench.clock.spawn(bench.rig.person(), "person")
    bench.clock.run(lower_and_wait())
    presses = [(t, state) for t, gpio, state in bench.edges if gpio == PINS.start_button]
    assert [state for _, state in presses] == [False, True]
    assert presses[1][0] - presses[0][0] == pytest.approx(0.2)
    assert presses[0][0] - bench.world.driver_off_s == pytest.approx(3.0, abs=0.3)
    assert bench.world.bag.placing.number == 2
    (truth,) = bench.rig.truths
    assert truth.number == 1


def test_another_bag_can_be_taken(bench: Bench) -> None:
    other = draw_scenario(2, face=plain_face(0.55, 0.5))
    bench.world.place_bag(other)
    assert bench.world.bag.placing.number == 1
    assert bench.world.bag.scenario is other


def test_truth_goes_beside_the_run_file(bench: Bench, tmp_path: Path) -> None:
    assert bench.rig.write_truth(tmp_path / "a.run.jsonl") is None
    bench.turn(int(bench.motor.position_at(24.0)) - bench.motor.position, 700.0)
    path = bench.rig.write_truth(tmp_path / "a.run.jsonl")
    assert path == tmp_path / "a.truth.json"
    truth = msgspec.json.decode(path.read_bytes(), type=Truth)
    assert truth.mu_static == pytest.approx(0.4)


def test_emergency_stop_and_stop_button_reach_their_pins(bench: Bench) -> None:
    stop = InputDevice(PINS.emergency_stop, pull_up=True, pin_factory=bench.rig.factory)
    assert not stop.pin.state
    bench.world.press("emergency_stop", True)
    assert stop.pin.state
    bench.world.press("start_button", True)
    assert not bench.level(PINS.start_button)


def test_inputs_keep_their_level_whatever_the_pull_is(bench: Bench) -> None:
    bench.rig.factory.close()
    assert bench.rig.factory.pin(PINS.limit_lower).state == 0
    pin = bench.rig.factory.pin(PINS.limit_lower)
    pin.pull = "up"
    assert not pin.state


def test_same_on_a_real_clock() -> None:
    # A busy computer makes pauses, and few motors follow at once after one.
    made = Bench(flat(board={"pull_out_hz": 1e6, "pull_in_hz": 1e6}), RealClock())
    start = made.motor.position
    made.turn(150, 500.0)
    assert made.motor.position == start + 150
    before_s = made.clock.time_s()
    assert before_s <= made.rig.factory.ticks() <= made.clock.time_s()
    made.close()


def test_climate_is_that_of_the_room_with_the_sensors_own_error(bench: Bench) -> None:
    air = bench.world.scenario.air
    seen = np.array([bench.world.air_seen(0.0) for _ in range(50)]).mean(axis=0)
    assert seen[0] == pytest.approx(air.temperature_c + air.sensor_temperature_error_k, abs=0.02)
    assert seen[1] == pytest.approx(
        air.relative_humidity_pct + air.sensor_humidity_error_pct, abs=0.05
    )
    later = bench.world.air_seen(3600.0)[0] - seen[0]
    assert later == pytest.approx(air.temperature_drift_k_h, abs=0.05)
