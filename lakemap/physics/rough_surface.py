"""What the second echo loses where it turns: a water surface that the wind has roughened."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SLOPE_PER_MPS = 5.12e-3
"""Mean square slope of the surface for each m/s of wind: Cox & Munk 1954, J. Opt. Soc. Am. 44:838 (from memory), clean
sea, 1 to 14 m/s at 12.5 m height. Their small slope without wind is left out: a calm lake is a mirror. Short fetch on a
small lake makes less, so this is the more careful side."""
VALID_WIND_MPS = (0.0, 14.0)
USUAL_WIND_MPS = 2.0
"""Wind where nobody said it: a light breeze (Beaufort 2). A mirror is the exception; 1.7 dB at 20 degrees."""
_TWO_WAY_GAUSS = 8.0 * np.log(2.0)
"""exp(-_TWO_WAY_GAUSS (angle / full beam)^2) is a beam's power both ways when it is taken as a bell of that width."""


def surface_loss_db(wind_mps: ArrayLike, beam_deg: ArrayLike) -> Floats:
    """Loss of the second echo at the surface [dB]; wind [m/s], full beam angle [degrees]; broadcast.

    Facets of a surface halfway between source and receiver that send sound on to the receiver lie off the axis by the
    angle of their own slope (mirror geometry), so the beam weighs the slopes of Cox & Munk: with mean square slope s2
    the share that stays is 1 / (1 + 8 ln 2 s2 / beam^2). A wide beam loses less. Bubbles are not in it.
    """
    slopes = SLOPE_PER_MPS * np.clip(np.asarray(wind_mps, dtype=np.float64), *VALID_WIND_MPS)
    beam = np.radians(np.asarray(beam_deg, dtype=np.float64))
    return np.asarray(10.0 * np.log10(1.0 + _TWO_WAY_GAUSS * slopes / beam**2), dtype=np.float64)
