"""Types of arrays that every room uses."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]
Phasors = NDArray[np.complex128]
