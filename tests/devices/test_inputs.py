import gc
from typing import cast

import msgspec
import pytest
from gpiozero.pins.mock import MockFactory

from rig.clock import Queue, RealClock, VirtualClock
from rig.devices.inputs import Edge, Inputs
from rig.errors import BadInputError
from rig.settings.model import Pins

PINS = Pins(beam_2=13)

ACTIVE_HIGH = {
    "emergency_stop": True,
    "limit_lower": True,
    "limit_upper": True,
    "beam_1": True,
    "beam_2": True,
    "blade_park": True,
    "start_button": False,
    "stop_button": False,
}
"""Whether a high line means active: contacts closed at rest open to high, buttons close to low."""


class Factory(MockFactory):
    """Pins whose stamps come from a clock."""

    def __init__(self, clock):
        super().__init__()
        self.clock = clock
        self.ahead_s = 0.0

    def ticks(self):
        """Stamp of now."""
        return self.clock.time_s() + self.ahead_s


@pytest.fixture
def factory():
    made = MockFactory()
    yield made
    made.close()


def drain(queue):
    return list(iter(queue.get_nowait, None))


def test_edges_of_every_input_are_queued_with_name_and_sense():
    clock = VirtualClock(start_s=100.0)
    factory = Factory(clock)
    events = clock.queue()
    with Inputs(clock, factory, PINS, events):
        for number in (26, 5, 6, 23, 13):
            factory.pin(number).drive_low()
            factory.pin(number).drive_high()
        for number in (17, 27):
            factory.pin(number).drive_low()
    factory.close()
    edges = drain(events)
    assert [(e.name, e.active) for e in edges] == [
        ("emergency_stop", False),
        ("emergency_stop", True),
        ("limit_lower", False),
        ("limit_lower", True),
        ("limit_upper", False),
        ("limit_upper", True),
        ("beam_1", False),
        ("beam_1", True),
        ("beam_2", False),
        ("beam_2", True),
        ("start_button", True),
        ("stop_button", True),
    ]
    assert {e.t_s for e in edges} == {100.0}


def test_levels_and_broken_wires(factory):
    """With nothing connected the pull-ups make stop and limits active, and no button pressed."""
    clock = RealClock()
    with Inputs(clock, factory, PINS, clock.queue()) as inputs:
        assert inputs.emergency_stop_pressed
        assert inputs.limit_lower_reached
        assert inputs.limit_upper_reached
        assert inputs.beam_broken(1)
        assert not inputs.start_pressed
        assert not inputs.stop_pressed
        factory.pin(26).drive_low()
        factory.pin(13).drive_low()
        assert not inputs.emergency_stop_pressed
        assert not inputs.beam_broken(2)
        assert inputs.levels()["beam_2"] is False
        assert inputs.beams == 2
    assert Inputs(clock, factory, Pins(), clock.queue()).beams == 1


def test_the_receiver_may_work_the_other_way_round(factory):
    clock = RealClock()
    pins = msgspec.structs.replace(PINS, beam_broken_is_high=False)
    with Inputs(clock, factory, pins, clock.queue()) as inputs:
        for beam, number in ((1, 23), (2, 13)):
            assert not inputs.beam_broken(beam)
            factory.pin(number).drive_low()
            assert inputs.beam_broken(beam)


def test_edges_go_on_after_a_collection(factory):
    """Pins hold their callbacks weakly."""
    clock = RealClock()
    events = clock.queue()
    with Inputs(clock, factory, PINS, events):
        gc.collect()
        factory.pin(23).drive_low()
        assert len(drain(events)) == 1


def test_nothing_comes_after_closing(factory):
    clock = RealClock()
    events = clock.queue()
    inputs = Inputs(clock, factory, PINS, events)
    inputs.open()
    pin = factory.pin(23)
    inputs.close()
    inputs.close()
    pin.drive_low()
    assert drain(events) == []


def test_a_callback_never_raises(factory):
    class Broken:
        def put(self, item):
            raise RuntimeError("full")

    clock, broken = RealClock(), cast("Queue", Broken())
    with Inputs(clock, factory, PINS, broken) as inputs:
        factory.pin(23).drive_low()
        assert inputs.failed_callbacks == 1


@pytest.mark.parametrize("name", ACTIVE_HIGH)
def test_each_input_has_its_pin_and_its_polarity(factory: MockFactory, name: str) -> None:
    pins = msgspec.structs.replace(PINS, blade_park=19)
    clock = RealClock()
    events = clock.queue()
    with Inputs(clock, factory, pins, events) as inputs:
        for number in sorted(getattr(pins, one) for one in ACTIVE_HIGH):
            factory.pin(number).drive_low()
        drain(events)
        pin = factory.pin(getattr(pins, name))
        for level in (True, False):
            pin.drive_high() if level else pin.drive_low()
            active = level == ACTIVE_HIGH[name]
            assert inputs.levels() == {
                one: active if one == name else not ACTIVE_HIGH[one] for one in ACTIVE_HIGH
            }
            assert [(e.name, e.active) for e in drain(events)] == [(name, active)]
            shown = {
                "emergency_stop": inputs.emergency_stop_pressed,
                "limit_lower": inputs.limit_lower_reached,
                "limit_upper": inputs.limit_upper_reached,
                "beam_1": inputs.beam_broken(),
                "beam_2": inputs.beam_broken(2),
                "blade_park": inputs.blade_parked,
                "start_button": inputs.start_pressed,
                "stop_button": inputs.stop_pressed,
            }
            assert shown == inputs.levels()


def test_no_input_is_debounced_and_each_has_a_pull_up(factory: MockFactory) -> None:
    """The stamp of an edge that is debounced is late, and a short press of the stop is lost."""
    clock = RealClock()
    with Inputs(clock, factory, PINS, clock.queue()) as inputs:
        used = [factory.pin(getattr(PINS, name)) for name in inputs.levels()]
        assert len(used) == 7
        assert {(pin.bounce, pin.pull, pin.edges) for pin in used} == {(None, "up", "both")}


def test_a_park_switch_is_there_only_where_it_is_wired(factory: MockFactory) -> None:
    clock = RealClock()
    assert not Inputs(clock, factory, PINS, clock.queue()).has_park_switch
    pins = msgspec.structs.replace(PINS, blade_park=19)
    assert Inputs(clock, factory, pins, clock.queue()).has_park_switch


@pytest.mark.parametrize(
    ("age_s", "trusted"),
    [
        (0.3, True),
        (1.99, True),
        (2.01, False),
        (-0.0009, True),
        (-0.0011, False),
        (-0.5, False),
    ],
)
def test_the_pins_own_stamp_is_kept_unless_it_is_of_another_clock(age_s, trusted):
    clock = VirtualClock(start_s=100.0)
    factory = Factory(clock)
    events = clock.queue()
    with Inputs(clock, factory, PINS, events) as inputs:
        inputs.take("beam_1", 100.0 - age_s, True)
        assert drain(events) == [Edge(100.0 - age_s if trusted else 100.0, "beam_1", True)]
        assert inputs.bad_stamps == (0 if trusted else 1)
    factory.close()


def test_stamps_of_another_clock_are_turned_by_their_age(factory):
    clock = VirtualClock(start_s=1e6)
    events = clock.queue()
    with Inputs(clock, factory, PINS, events):
        factory.pin(23).drive_low()
    (edge,) = drain(events)
    assert edge.t_s == pytest.approx(1e6, abs=0.5)


@pytest.mark.parametrize(
    ("ahead_s", "same"), [(0.0009, True), (-0.0009, True), (0.0011, False), (-0.0011, False)]
)
def test_the_clock_of_the_stamps_is_known_by_its_time(ahead_s: float, same: bool) -> None:
    """Stamps of the same clock are taken as they are; of another one, only their age is."""
    clock = VirtualClock(start_s=100.0)
    factory = Factory(clock)
    factory.ahead_s = ahead_s
    events = clock.queue()
    with Inputs(clock, factory, PINS, events) as inputs:
        inputs.take("beam_1", 99.5, True)
        (edge,) = drain(events)
    assert edge.t_s == pytest.approx(99.5 if same else 99.5 - ahead_s, abs=1e-9)
    factory.close()


def test_a_pin_that_is_in_use_is_told(factory):
    from gpiozero import OutputDevice

    clock = RealClock()
    other = OutputDevice(23, pin_factory=factory)
    with pytest.raises(BadInputError, match=r"GPIO 23 \(beam_1 under \[pins\]"):
        Inputs(clock, factory, PINS, clock.queue()).open()
    other.close()
    with Inputs(clock, factory, PINS, clock.queue()):
        pass
