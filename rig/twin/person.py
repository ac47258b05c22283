"""A simulated person: puts the bag back when the board is down and still, and presses start."""

from rig.clock import At, Clock, Task
from rig.twin.world import World

PRESS_AFTER_S = 1.0
"""From putting the bag down to pressing start."""
PRESS_S = 0.2
"""How long the button is held."""
WAIT_S = 2.0
"""How long the board must have been down and still before anybody reaches over it."""
AGAIN_S = 30.0
"""When nothing moves for so long, start is pressed again."""
DOWN_DEG = 5.0
LOOK_S = 0.25
SLIDING_LOOK_S = 0.01


def attend(world: World, clock: Clock, *, presses: bool = True) -> Task[None]:
    """Task without end: look after the rig; without `presses` it only puts the bag back.

    Where a blade places the bag nobody reaches over the board: start is pressed until it moves.
    It also lets a sliding bag go on while the motor stands, since nobody else would.
    """
    pressed_s = float("-inf")
    while True:
        now_s = clock.time_s()
        world.advance(now_s)
        ready_s = max(world.driver_off_s, world.motor.last_s) + WAIT_S
        is_ready = not world.motor.is_enabled and world.motor.angle_deg < DOWN_DEG
        if world.is_placed_by_blade:
            is_ready = is_ready and not world.has_blade_moved
        if is_ready and pressed_s > ready_s:
            ready_s = pressed_s + AGAIN_S
        if is_ready and now_s >= ready_s:
            if pressed_s < world.driver_off_s and not world.is_placed_by_blade:
                world.place_bag()
            if not presses:
                pressed_s = now_s
                yield At(now_s + LOOK_S)
                continue
            yield At(now_s + PRESS_AFTER_S)
            if not world.motor.is_enabled:
                pressed_s = clock.time_s()
                world.press("start_button", True)
                yield At(pressed_s + PRESS_S)
                world.press("start_button", False)
        elif world.is_bag_sliding:
            yield At(now_s + SLIDING_LOOK_S)
        elif is_ready:
            yield At(min(ready_s, now_s + LOOK_S) if ready_s > now_s else now_s + LOOK_S)
        else:
            yield At(now_s + LOOK_S)
