"""Types of arrays that every room uses."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
