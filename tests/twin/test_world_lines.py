"""Levels of the twin's lines, and what it says of air and warmth."""

from collections.abc import Iterator

import numpy as np
import pytest
from gpiozero import DigitalOutputDevice, InputDevice
from gpiozero.exc import PinSetInput

from rig.clock import VirtualClock
from rig.settings.model import Blade, Pins, Settings
from rig.twin.pins import TwinFactory
from rig.twin.world import World
from tests.twin.test_world import PINS, Bench, flat

WITH_BLADE = Settings(
    pins=Pins(blade_step=13, blade_direction=19, blade_enable=21, blade_park=7),
    blade=Blade(fitted=True),
)


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench(flat())
    yield made
    made.close()


def world(settings: Settings) -> tuple[World, TwinFactory]:
    clock = VirtualClock()
    made = World(clock, settings, flat(), 1)
    return made, TwinFactory(made, clock)


def test_at_rest_contacts_are_closed_and_buttons_open() -> None:
    made, _ = world(Settings(pins=Pins(beam_2=18)))
    for gpio in (PINS.emergency_stop, PINS.limit_lower, PINS.limit_upper, PINS.beam_1, 18):
        assert made.level(gpio) is False
    for gpio in (PINS.start_button, PINS.stop_button):
        assert made.level(gpio) is True
    assert made.level(PINS.lamp_red) is False
    low, _ = world(Settings(pins=Pins(beam_2=18, beam_broken_is_high=False)))
    assert (low.level(PINS.beam_1), low.level(18)) == (True, True)
    # A switch at the park place is open while the blade is there.
    assert world(WITH_BLADE)[0].level(7) is True


@pytest.mark.parametrize("button", ["start_button", "stop_button", "emergency_stop"])
def test_a_button_is_held_and_let_go(bench: Bench, button: str) -> None:
    gpio = getattr(PINS, button)
    rest = bench.world.level(gpio)
    bench.world.press(button, True)
    assert bench.world.level(gpio) is (not rest)
    bench.world.press(button, False)
    assert bench.world.level(gpio) is rest


@pytest.mark.parametrize(("raises_high", "sign"), [(True, 1), (False, -1)])
def test_the_direction_line_turns_as_it_is_wired(raises_high: bool, sign: int) -> None:
    made, _ = world(Settings(pins=Pins(direction_raises_high=raises_high)))
    made.on_output(PINS.direction, True)
    assert made.motor.direction == sign
    made.on_output(PINS.direction, False)
    assert made.motor.direction == -sign


@pytest.mark.parametrize(("uphill_high", "sign"), [(True, 1), (False, -1)])
def test_the_blade_follows_its_own_lines(uphill_high: bool, sign: int) -> None:
    pins = Pins(
        blade_step=13,
        blade_direction=19,
        blade_enable=21,
        blade_park=7,
        blade_uphill_is_high=uphill_high,
    )
    made, factory = world(Settings(pins=pins, blade=Blade(fitted=True)))
    assert made.pusher is not None
    step, direction, enable = (DigitalOutputDevice(n, pin_factory=factory) for n in (13, 19, 21))
    direction.on()
    assert made.pusher.body.direction == sign
    direction.value = uphill_high
    assert (made.is_placed_by_blade, made.has_blade_moved) == (True, False)
    made.clock.pause_s(1.0)
    step.on()
    step.off()
    assert made.pusher.body.place_mm == 300.0
    enable.on()
    for _ in range(100):
        step.on()
        step.off()
    # 20 pulses per mm, less the play.
    assert made.pusher.body.place_mm == pytest.approx(305.0, abs=0.31)
    assert made.has_blade_moved
    assert made.level(7) is False
    assert made.motor.is_enabled is False
    factory.close()
    assert made.pusher.body.is_enabled is False


def test_without_a_blade_there_is_none() -> None:
    made, _ = world(Settings())
    assert (made.is_placed_by_blade, made.has_blade_moved) == (False, False)
    made.on_blade_step()


def test_a_bag_taken_out_of_the_beam_clears_it_at_once(bench: Bench) -> None:
    bench.turn(int(bench.motor.position_at(22.6)) - bench.motor.position, 700.0)
    assert bench.level(PINS.beam_1)
    bench.world.place_bag()
    assert not bench.level(PINS.beam_1)
    assert bench.world.bag.placing.number == 2
    assert [truth.number for truth in bench.world.truths] == [1]
    again = bench.world.truth()
    assert again is not None
    assert again.number == 1


def test_a_bag_put_into_the_beam_breaks_it() -> None:
    made = Bench(flat(bag={"gap_mm": -1.0}))
    made.world.place_bag()
    made.world.advance(1.0)
    assert made.level(PINS.beam_1)
    made.close()


@pytest.mark.parametrize("sense", [("rising", [True]), ("falling", [False]), ("both", [1, 0])])
def test_a_watch_is_told_of_the_edges_that_it_wants(
    bench: Bench, sense: tuple[str, list[bool]]
) -> None:
    stop = InputDevice(PINS.emergency_stop, pull_up=True, pin_factory=bench.rig.factory)
    seen: list[tuple[float, bool]] = []

    def watch(ticks: float, state: bool) -> None:
        seen.append((ticks, bool(state)))

    stop.pin.edges = sense[0]
    stop.pin.when_changed = watch
    bench.clock.pause_s(2.0)
    for down in (True, True, False):
        bench.world.press("emergency_stop", down)
    assert seen == [(2.0, bool(state)) for state in sense[1]]


def test_an_input_is_no_output(bench: Bench) -> None:
    pin = bench.step.pin
    pin.function = "input"
    before = bench.motor.last_s
    with pytest.raises(PinSetInput):
        pin.state = True
    assert bench.motor.last_s == before


def test_a_pulse_is_a_rising_edge(bench: Bench) -> None:
    bench.enable.on()
    bench.direction.on()
    place = bench.motor.position
    for level in (True, True, False, False, True):
        bench.clock.pause_s(0.01)
        bench.step.pin.state = level
    assert bench.motor.position == place + 2


def test_the_chip_is_warmer_than_the_air_by_board_current_and_hand(bench: Bench) -> None:
    made = bench.world
    air, imu = made.scenario.air, made.scenario.imu
    made.warmed_k = 5.0
    expected = air.temperature_c + 0.5 * air.temperature_drift_k_h
    expected += air.board_offset_k + imu.self_heating_k + 5.0
    assert made.imu_temperature_c(1800.0) == pytest.approx(expected)
    assert made.hours(7200.0) == 2.0
    assert made.hours(-5.0) == 0.0


def test_the_climate_sensor_is_as_noisy_as_its_lines_in_a_file(bench: Bench) -> None:
    seen = np.array([bench.world.air_seen(0.0) for _ in range(1000)])
    assert seen.std(axis=0) == pytest.approx([0.01, 0.04, 0.02], rel=0.1)
    assert seen[:, 2].mean() == pytest.approx(bench.world.scenario.air.pressure_hpa, abs=0.01)
