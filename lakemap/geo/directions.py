"""Directions in words."""

from __future__ import annotations

import numpy as np

WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def direction_word(east_m: float, north_m: float) -> str:
    """One of eight winds, on the grid: within a UTM zone true north is at most a few degrees off."""
    bearing = np.degrees(np.arctan2(east_m, north_m)) % 360.0
    return WINDS[int((bearing + 22.5) // 45.0) % 8]
