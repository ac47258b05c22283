from itertools import groupby
from typing import get_args

import pytest
from gpiozero.pins.mock import MockFactory

from rig.clock import At, VirtualClock
from rig.devices.lamp import PATTERNS, StateLamp
from rig.errors import BadInputError
from rig.runfile.model import State
from rig.settings.model import Pins

PINS = Pins(buzzer=4)
NUMBERS = {"r": 22, "g": 24, "b": 25, "buzzer": 4}


@pytest.fixture
def factory():
    made = MockFactory()
    yield made
    made.close()


def watch(factory, states, seconds=2.0, pins=PINS):
    """Show the states one after the other; what is lit every 50 ms from each on."""
    clock = VirtualClock()
    lamp = StateLamp(clock, factory, pins)
    seen = []

    def main():
        lamp.open()
        blinking = clock.spawn(lamp.blink(), "lamp")
        for n, state in enumerate(states):
            lamp.show(state)
            for k in range(round(seconds / 0.05)):
                yield At(n * seconds + k * 0.05 + 0.025)
                seen.append("".join(c for c, p in NUMBERS.items() if factory.pin(p).state))
        blinking.cancel()
        yield from blinking.join()
        assert not any(factory.pin(n).state for n in NUMBERS.values())
        lamp.close()

    clock.run(main())
    return seen


def test_every_state_has_a_pattern_of_its_own():
    assert set(PATTERNS) == set(get_args(State))
    looks = {(p.colours, p.lit_s if p.dark_s else 0.0) for p in PATTERNS.values()}
    assert len(looks) == len(PATTERNS)


SLOW, FAST = 10, 4
"""Looks, 50 ms apart, for which it is lit, and as many for which it is dark."""


@pytest.mark.parametrize(
    ("state", "colours", "blinks"),
    [
        ("parked", "g", None),
        ("homing", "rg", SLOW),
        ("placing", "g", SLOW),
        ("dwelling", "b", None),
        ("raising", "b", FAST),
        ("sliding", "rgb", None),
        ("lowering", "rg", FAST),
        ("halted", "r", FAST),
    ],
)
def test_each_state_looks_as_the_readme_says(
    factory: MockFactory, state: State, colours: str, blinks: int | None
) -> None:
    """Yellow is red and green."""
    seen = [look.replace("buzzer", "") for look in watch(factory, [state])]
    seen = seen[10:]  # the beep comes first
    lengths = set([len(list(run)) for _, run in groupby(seen)][1:-1])
    assert (set(seen), lengths) == (({colours, ""}, {blinks}) if blinks else ({colours}, set()))


def test_only_what_wants_a_person_beeps() -> None:
    assert {state for state, pattern in PATTERNS.items() if pattern.beep} == {"placing", "halted"}


def test_closing_goes_dark_even_if_the_task_still_shows_something(factory: MockFactory) -> None:
    lamp = StateLamp(VirtualClock(), factory, PINS)
    lamp.open()
    for number in NUMBERS.values():
        factory.pin(number).state = True
    levels = [factory.pin(number) for number in NUMBERS.values()]
    for pin in levels:
        pin.clear_states()
    lamp.close()
    assert [[change.state for change in pin.states][1:] for pin in levels] == [[False]] * 4
    lamp.close()


def test_steady(factory):
    assert set(watch(factory, ["sliding"])) == {"rgb"}


def test_blinking_is_half_lit_half_dark(factory):
    seen = watch(factory, ["raising"])
    assert seen.count("b") == seen.count("") == 20
    assert seen[:9] == ["b"] * 4 + [""] * 4 + ["b"]


def test_a_new_state_shows_at_once(factory):
    seen = watch(factory, ["lowering", "parked", "dwelling"], seconds=0.5)
    assert set(seen[10:20]) == {"g"}
    assert set(seen[20:]) == {"b"}


def test_the_buzzer_calls_once(factory):
    seen = watch(factory, ["halted"])
    beeps = [s for s in seen if "buzzer" in s]
    assert len(beeps) == 3
    assert "buzzer" not in "".join(seen[5:])


def test_without_a_buzzer(factory):
    assert "buzzer" not in "".join(watch(factory, ["halted"], pins=Pins()))


def test_a_pin_that_is_in_use_is_told(factory):
    from gpiozero import InputDevice

    other = InputDevice(24, pin_factory=factory)
    refused = StateLamp(VirtualClock(), factory, PINS)
    with pytest.raises(BadInputError, match="GPIO 24"):
        refused.open()
    other.close()
    lamp = StateLamp(VirtualClock(), factory, PINS)
    lamp.open()
    lamp.close()
