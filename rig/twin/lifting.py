"""A simulated person who raises the board by hand: looks at the display and does what it asks."""

from collections.abc import Callable
from typing import NamedTuple

from rig.clock import At, Clock, Task
from rig.twin.hand_world import HandWorld

LOOK_S = 0.02
REACTS_S = 0.4
LIFTS_AFTER_S = 0.8
PUTS_AFTER_S = 1.5
PRESS_AFTER_S = 1.0
PRESS_S = 0.2


class Display(NamedTuple):
    """What the person sees on the display."""

    state: str
    wants: str
    rate_deg_s: float
    """Pace that is asked for."""
    hold_deg: float | None = None
    """Where the board is to be propped, in a calibration."""


def lift_by_hand(
    world: HandWorld, clock: Clock, sees: Callable[[], Display], *, presses: bool = True
) -> Task[None]:
    """Task without end: put the bag back, press start, raise, lower.

    Args:
        world: in which the board is.
        clock: tells the time.
        sees: what the display shows now.
        presses: presses start; otherwise others do.
    """
    has_pressed = False
    state, since_s = "", clock.time_s()
    while True:
        now_s = clock.time_s()
        world.advance(now_s)
        shown = sees()
        if shown.state != state:
            state, since_s, has_pressed = shown.state, now_s, False
        stays_s = now_s - since_s
        if shown.hold_deg is not None:
            if "press start" in shown.wants:
                yield from _prop(world, clock, shown.hold_deg)
            yield At(clock.time_s() + LOOK_S)
            continue
        if state == "placing" and "press start" in shown.wants and not world.is_up:
            if not has_pressed and stays_s > PUTS_AFTER_S:
                world.place_bag()
                has_pressed = True
                if presses:
                    yield At(now_s + PRESS_AFTER_S)
                    world.press("start_button", True)
                    yield At(clock.time_s() + PRESS_S)
                    world.press("start_button", False)
        elif state == "raising" and not world.is_up and stays_s > LIFTS_AFTER_S:
            world.lift(shown.rate_deg_s)
        elif state in ("lowering", "halted", "parked", "placing") and world.is_up:
            if world.path.is_lifted and stays_s > REACTS_S:
                world.let_down()
        yield At(clock.time_s() + LOOK_S)


def _prop(world: HandWorld, clock: Clock, angle_deg: float) -> Task[None]:
    """Bring the board where it is wanted, wait until it stands, and press start."""
    world.hold(angle_deg)
    while not world.path.is_at_rest(clock.time_s()):
        yield At(clock.time_s() + LOOK_S)
    yield At(clock.time_s() + PRESS_AFTER_S)
    world.press("start_button", True)
    yield At(clock.time_s() + PRESS_S)
    world.press("start_button", False)
    yield At(clock.time_s() + PRESS_S)
