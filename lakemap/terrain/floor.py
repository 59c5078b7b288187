"""The depth surface as features are sought on it: smoothed a little, with its error and slope beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import ndtr

from lakemap.model.frame import GridFrame
from lakemap.model.surface import Surface
from lakemap.terrain.slope import horn_slope_deg

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

PIXELS_AT_MOST = 300_000
"""Larger frames are averaged over squares of pixels first: features are many pixels wide, and time is not lost."""


@dataclass(frozen=True)
class Floor:
    """All (rows, columns): smoothed ``depth_m``, ``sigma_m`` of the surface (not lessened by the smoothing, as
    neighbouring pixels share their error), ``slope_deg``, ``seen`` where there is a depth, ``land``.
    """

    depth_m: Floats
    sigma_m: Floats
    slope_deg: Floats
    seen: Mask
    land: Mask
    transform: Affine
    pixel_m: float

    def pixels(self, length_m: float) -> float:
        """A length [m] in pixels."""
        return length_m / self.pixel_m

    @property
    def ground_corner(self) -> tuple[float, float]:
        """Row and column (fractions) of the origin of the working CRS, which no reading moves."""
        return self.transform.f / self.pixel_m, -self.transform.c / self.pixel_m

    def typical_sigma_m(self, where: Mask) -> float:
        """Median standard error [m] over a mask (rows, columns); 0 where none is known."""
        known = self.sigma_m[where & np.isfinite(self.sigma_m)]
        return float(np.median(known)) if len(known) else 0.0


def prepare_floor(depth: Surface, smooth_m: float) -> Floor:
    """Smooth the surface over ``smooth_m`` and take its slope; large frames are made coarser first."""
    frame = depth.frame
    times = int(np.ceil(np.sqrt(frame.shape[0] * frame.shape[1] / PIXELS_AT_MOST)))
    pixel_m = frame.pixel_m * times
    rough = _coarser(depth.estimate.values.astype(np.float64), times)
    sigma_m = _coarser(depth.sigma.values.astype(np.float64), times)
    smooth = smoothed(rough, smooth_m / pixel_m)
    return Floor(
        depth_m=smooth, sigma_m=sigma_m, slope_deg=horn_slope_deg(smooth, pixel_m), seen=np.isfinite(smooth),
        land=_land(frame, times), pixel_m=pixel_m,
        transform=Affine(pixel_m, 0.0, frame.transform.c, 0.0, -pixel_m, frame.transform.f),
    )


def smoothed(values: Floats, radius_px: float) -> Floats:
    """Gaussian mean with standard deviation ``radius_px`` [pixels] over what is there; NaN stays NaN."""
    if radius_px <= 0:
        return values.copy()
    seen = np.isfinite(values)
    weight = ndimage.gaussian_filter(seen.astype(np.float64), radius_px, mode="constant", truncate=3.0)
    total = ndimage.gaussian_filter(np.where(seen, values, 0.0), radius_px, mode="constant", truncate=3.0)
    return np.where(seen, total / np.where(seen, weight, 1.0), np.nan)


def confidence_of(relief_m: float, least_m: float, sigma_m: float) -> float:
    """Probability that the true relief exceeds ``least_m``, given its standard error (normal law)."""
    return float(ndtr((relief_m - least_m) / max(sigma_m, 1e-6)))


def _coarser(values: Floats, times: int) -> Floats:
    if times == 1:
        return values
    rows, columns = (-(-size // times) for size in values.shape)
    padded = np.full((rows * times, columns * times), np.nan)
    padded[: values.shape[0], : values.shape[1]] = values
    blocks = padded.reshape(rows, times, columns, times)
    count = np.isfinite(blocks).sum(axis=(1, 3))
    return np.where(count > 0, np.nansum(blocks, axis=(1, 3)) / np.maximum(count, 1), np.nan)


def _land(frame: GridFrame, times: int) -> Mask:
    if not frame.shore_known:
        return np.zeros([-(-size // times) for size in frame.shape], dtype=bool)
    return np.asarray(_coarser((~frame.water).astype(np.float64), times) > 0.5)
