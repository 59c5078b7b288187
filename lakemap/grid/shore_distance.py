"""How far each pixel is from the shore: what the depth's trend and its growth from the shore go by."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, map_coordinates

from lakemap.model.frame import GridFrame

Floats = NDArray[np.float64]


class ShoreDistance:
    """Distance to the nearest shore [m] anywhere on a frame; infinite where no shore is known.

    The nearest shore is always seen over water alone, so that the straight distance is the one through the water. The
    frame's own edge is no shore.
    """

    def __init__(self, frame: GridFrame | None) -> None:
        self._frame = frame if frame is not None and frame.shore_known and not frame.water.all() else None
        self.widest_m = 0.0
        if self._frame is not None:
            wet, dry = (distance_transform_edt(side) for side in (self._frame.water, ~self._frame.water))
            # half a pixel lies between a centre and the shore beside it
            self._signed = (np.maximum(wet - 0.5, 0.0) - np.maximum(dry - 0.5, 0.0)) * self._frame.pixel_m
            self.widest_m = float(np.quantile(self._signed[self._frame.water], 0.98))

    @property
    def known(self) -> bool:
        """Whether there is a shore."""
        return self._frame is not None

    def at(self, xy: Floats) -> Floats:
        """Distance (m,) at places (m, 2), 0 on land."""
        if self._frame is None:
            return np.full(len(xy), np.inf)
        x_m, y_m = self._frame.centres()
        side = self._frame.pixel_m
        nodes = np.array([(y_m[0] - xy[:, 1]) / side, (xy[:, 0] - x_m[0]) / side])
        return np.maximum(map_coordinates(self._signed, nodes, order=1, mode="nearest"), 0.0)
