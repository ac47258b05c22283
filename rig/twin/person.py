"""How a simulated person handles the rig."""

PRESS_AFTER_S = 1.0
"""From putting the bag down to pressing start."""
PRESS_S = 0.2
"""How long the button is held."""
WAIT_S = 2.0
"""How long the board must have been down and still before anybody reaches over it."""
