"""Colours of the map: one hue family a quantity, even steps to the eye, lightness always running one way.

Lightness alone tells the values apart, so the ramps hold for colour-blind eyes and on a grey printer. They are set in
Oklab (B. Ottosson 2020, "A perceptual color space for image processing"; matrices from memory, checked in the tests
against CIE Lab).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STOPS = 33
"""Colours in each ramp; the page draws straight lines between them."""

RAMPS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "sure": ((0.36, 0.060, 172.0), (0.62, 0.078, 178.0), (0.95, 0.022, 168.0)),
    "depth": ((0.965, 0.024, 195.0), (0.72, 0.096, 222.0), (0.49, 0.110, 252.0), (0.33, 0.095, 270.0)),
    "hardness": ((0.94, 0.026, 322.0), (0.64, 0.115, 313.0), (0.30, 0.115, 303.0)),
    "slope": ((0.955, 0.030, 95.0), (0.68, 0.095, 78.0), (0.33, 0.065, 58.0)),
    "warm": ((0.95, 0.035, 75.0), (0.70, 0.125, 45.0), (0.36, 0.115, 25.0)),
}
"""Lightness, chroma and hue [deg] of the anchors: our own choice. ``sure`` runs from sure (dark) to unsure (pale)."""

_TO_LMS = np.array([
    [1.0, 0.3963377774, 0.2158037573], [1.0, -0.1055613458, -0.0638541728], [1.0, -0.0894841775, -1.2914855480],
])
_TO_LINEAR_RGB = np.array([
    [4.0767416621, -3.3077115913, 0.2309699292], [-1.2684380046, 2.6097574011, -0.3413193965],
    [-0.0041960863, -0.7034186147, 1.7076147010],
])


def srgb_of_oklab(lab: Floats) -> Floats:
    """Oklab (n, 3) as sRGB 0..1 (n, 3), cut to what a screen can show; transfer curve of IEC 61966-2-1."""
    linear = np.clip((lab @ _TO_LMS.T) ** 3 @ _TO_LINEAR_RGB.T, 0.0, 1.0)
    curved: Floats = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return curved


def ramp(name: str, stops: int = STOPS) -> list[str]:
    """``stops`` colours as ``#rrggbb``, equally far from each other along the path through the anchors."""
    lightness, chroma, hue = np.array(RAMPS[name]).T
    anchors = np.column_stack([
        lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue)),
    ])
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(anchors, axis=0), axis=1))]
    where = np.linspace(0.0, along[-1], stops)
    lab = np.column_stack([np.interp(where, along, channel) for channel in anchors.T])
    bytes_ = np.rint(srgb_of_oklab(lab) * 255).astype(int)
    return [f"#{red:02x}{green:02x}{blue:02x}" for red, green, blue in bytes_.tolist()]
