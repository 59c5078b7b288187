"""Observations -> Surface: frame, block reduction, variogram, interpolators, leave-one-pass-out."""

from lakemap.grid.frame import frame_for
from lakemap.grid.settings import GridSettings
from lakemap.grid.surface import make_surface

__all__ = ["GridSettings", "frame_for", "make_surface"]
