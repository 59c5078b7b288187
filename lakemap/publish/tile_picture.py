"""Colours of the depth picture: depth by lightness, doubt by opacity, contours, and hatching where not to go."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from lakemap.publish.html_map.colours import ramp
from lakemap.publish.html_map.sureness import how_sure

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]

SHADES = 80
"""Steps of depth; three opacities of each, a line, hatching and nothing fit into 256 codes."""

OPACITY = (255, 175, 90)
"""Of sure, fair and guessed depths: where the map guesses, what lies below shines through. Own choice."""

LINE, HATCH = 254, 255
HATCH_EVERY, HATCH_WIDE = 8, 3


def palette() -> Codes:
    """(256, 4) red, green, blue, opacity: 0 nothing, then SHADES of each opacity, LINE and HATCH."""
    made = np.zeros((256, 4), np.uint8)
    colours = np.array([[int(text[k:k + 2], 16) for k in (1, 3, 5)] for text in ramp("depth", SHADES)], np.uint8)
    for level, opacity in enumerate(OPACITY):
        made[1 + level * SHADES:1 + (level + 1) * SHADES] = np.column_stack([colours, np.full(SHADES, opacity)])
    made[LINE], made[HATCH] = (22, 40, 60, 255), (12, 28, 38, 200)
    return made


def coded(depth_m: Floats, sigma_m: Floats, deepest_m: float, step_m: float | None) -> Codes:
    """Codes of a tile (rows, columns); contours every ``step_m`` where it is given."""
    there = np.isfinite(depth_m)
    share = np.clip(np.where(there, depth_m, 0.0) / max(deepest_m, 1e-9), 0.0, 1.0)
    level = np.maximum(how_sure(depth_m, sigma_m), 0)
    codes = np.where(there, 1 + level * SHADES + np.rint(share * (SHADES - 1)), 0).astype(np.uint8)
    if step_m is not None:
        band = np.where(there, np.floor(depth_m / step_m), np.nan)
        down, right = band[1:] - band[:-1], band[:, 1:] - band[:, :-1]
        codes[:-1][np.isfinite(down) & (down != 0)] = LINE
        codes[:, :-1][np.isfinite(right) & (right != 0)] = LINE
    return codes


def hatched(codes: Codes, kept_out: NDArray[np.bool_], first_row: int, first_column: int) -> Codes:
    """Stripes over the pixels to keep out of; they run on from tile to tile by the tile's first pixel."""
    rows, columns = np.indices(codes.shape)
    stripe = (rows + first_row + columns + first_column) % HATCH_EVERY < HATCH_WIDE
    return np.where(kept_out & stripe, np.uint8(HATCH), codes)


def as_png(codes: Codes, colours: Codes) -> bytes:
    """``codes`` (rows, columns) into ``colours`` (k, 4) as a PNG without dates or text."""
    picture = Image.fromarray(codes)
    picture.putpalette(colours[:, :3].tobytes())
    made = io.BytesIO()
    picture.save(made, "PNG", transparency=colours[:, 3].tobytes(), compress_level=9)
    return made.getvalue()
