import gc

import msgspec
import pytest
from gpiozero.pins.mock import MockFactory

from rig.clock import RealClock, VirtualClock
from rig.devices.inputs import Edge, Inputs
from rig.errors import BadInputError
from rig.settings.model import Pins

PINS = Pins(beam_2=13)


class Factory(MockFactory):
    """Pins whose stamps come from a clock."""

    def __init__(self, clock):
        super().__init__()
        self.clock = clock

    def ticks(self):
        """Stamp of now."""
        return self.clock.time_s()


@pytest.fixture
def factory():
    made = MockFactory()
    yield made
    made.close()


def drain(queue):
    return list(iter(queue.get_nowait, None))


def test_edges_of_every_input_are_queued_with_name_and_sense(factory):
    clock = RealClock()
    events = clock.queue()
    with Inputs(clock, factory, PINS, events):
        for number in (26, 5, 6, 23, 13):
            factory.pin(number).drive_low()
            factory.pin(number).drive_high()
        for number in (17, 27):
            factory.pin(number).drive_low()
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
    now_s = clock.time_s()
    assert all(now_s - 1 < e.t_s <= now_s for e in edges)


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
        assert not inputs.beam_broken(1)
        factory.pin(23).drive_low()
        assert inputs.beam_broken(1)


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

    clock = RealClock()
    with Inputs(clock, factory, PINS, Broken()) as inputs:
        factory.pin(23).drive_low()
        assert inputs.failed_callbacks == 1


@pytest.mark.parametrize(("age_s", "trusted"), [(0.3, True), (2.5, False), (-0.5, False)])
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


def test_a_pin_that_is_in_use_is_told(factory):
    from gpiozero import OutputDevice

    clock = RealClock()
    other = OutputDevice(23, pin_factory=factory)
    with pytest.raises(BadInputError, match=r"GPIO 23 \(beam_1 under \[pins\]"):
        Inputs(clock, factory, PINS, clock.queue()).open()
    other.close()
    with Inputs(clock, factory, PINS, clock.queue()):
        pass
