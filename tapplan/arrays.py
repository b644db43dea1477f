"""Arrays of numpy by what they hold, one name for each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]
Mask = NDArray[np.bool_]
Micros = NDArray[np.int64]
Wholes = NDArray[np.int64]
Squares = NDArray[np.uint64]
