"""Tables of points in the plane."""

import numpy as np
import numpy.typing as npt

#: Points (n, 2) in mm, y down; also any other table of floats.
Points = npt.NDArray[np.float64]
