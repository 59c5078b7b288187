"""Observations -> Surface: frame, block reduction, variogram, interpolators, leave-one-pass-out."""

from lakemap.grid.frame import frame_for
from lakemap.grid.settings import GridSettings
from lakemap.grid.slope_in_beam import with_slopes_put_right
from lakemap.grid.surface import make_surface
from lakemap.grid.with_prior import hold_up

__all__ = ["GridSettings", "frame_for", "hold_up", "make_surface", "with_slopes_put_right"]
