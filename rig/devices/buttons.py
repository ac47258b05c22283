"""Turns the bouncing level of a push button into presses."""

DEBOUNCE_S = 0.03


class PushButton:
    """Counts a press once the button has been held, after it was seen released.

    A button that is held (or short-circuited) when the rig starts counts for nothing until it has
    been let go. A spike shorter than the debounce time counts for nothing.

    Args:
        debounce_s: how long a level must last to be believed.
    """

    def __init__(self, debounce_s: float = DEBOUNCE_S) -> None:
        self._debounce_s = debounce_s
        self._level: bool | None = None
        self._since_s = 0.0
        self._armed = False

    def update(self, t_s: float, pressed: bool) -> bool:
        """Take in the level at this time; True exactly once for each press.

        Call it for every edge and, between edges, about every 20 ms with the present level.

        Args:
            t_s: monotonic time of the edge, or now.
            pressed: whether the button is down.
        """
        if pressed != self._level:
            held_s = t_s - self._since_s
            if self._level is False and held_s >= self._debounce_s:
                self._armed = True
            self._level, self._since_s = pressed, t_s
            return False
        if t_s - self._since_s < self._debounce_s:
            return False
        if not pressed:
            self._armed = True
            return False
        was_armed, self._armed = self._armed, False
        return was_armed
