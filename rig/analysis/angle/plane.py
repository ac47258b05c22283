"""The type of the arrays that the analysis computes with."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
