"""What the physics of a bag on a plane is written in."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

G_MM_S2 = 9806.65
"""Standard gravity, in mm/s²."""
