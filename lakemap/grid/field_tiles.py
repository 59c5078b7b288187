"""A lake with more nodes than are solved at once: tiles with halos that fade into each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.grid.field_lattice import Lattice, cell_number, lattice_for

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Box = tuple[float, float, float, float]

HALO_RANGES = 4.0
"""Readings up to so many ranges of the short detail beyond a tile take part in it (and a seventh of its width)."""
HALO_SHARE = 1 / 7
FADE_SHARE = 0.5
"""A tile's weight falls to nothing over this share of its halo."""


@dataclass(frozen=True)
class Tile:
    """West, south, east, north of the tile itself, infinite at the lake's edge, and the width of its halo [m]."""

    box: Box
    halo_m: float
    lattice: Lattice

    def holds(self, xy: Floats) -> Mask:
        """Which places (n, 2) lie in the tile or its halo."""
        return _outside_m(self.box, xy) <= self.halo_m

    def weight(self, xy: Floats) -> Floats:
        """1 within the tile, falling evenly to 0 within the halo (n,)."""
        return np.clip(1.0 - _outside_m(self.box, xy) / (FADE_SHARE * self.halo_m), 0.0, 1.0)


def cut_tiles(xy: Floats, step_m: float, ranges_m: tuple[float, ...], most: int) -> list[Tile]:
    """Tiles of places (n, 2), by halves, until each needs at most ``most`` nodes; one tile where that is enough."""
    everywhere = (-np.inf, -np.inf, np.inf, np.inf)
    return _cut(xy, everywhere, step_m, ranges_m, most)


def _cut(xy: Floats, box: Box, step_m: float, ranges_m: tuple[float, ...], most: int) -> list[Tile]:
    own = xy[_outside_m(box, xy) <= 0]
    extent = np.ptp(own, axis=0)
    halo = max(HALO_RANGES * ranges_m[-1], HALO_SHARE * float(extent.max()))
    # one place a lattice cell is enough to know which cells are served
    lattice = lattice_for(xy[_outside_m(box, xy) <= halo], step_m, ranges_m)
    if lattice.count <= most or extent.max() <= 4 * halo:
        return [Tile(box, halo, lattice)]
    axis = int(np.argmax(extent))
    middle = float(np.median(own[:, axis]))
    west, south, east, north = box
    parts: tuple[Box, Box] = ((west, south, middle, north), (middle, south, east, north))
    if axis == 1:
        parts = ((west, south, east, middle), (west, middle, east, north))
    return [tile for part in parts for tile in _cut(xy, part, step_m, ranges_m, most)]


def _outside_m(box: Box, xy: Floats) -> Floats:
    """How far each place lies outside a box (n,), 0 within."""
    beyond = np.maximum(np.array(box[:2]) - xy, xy - np.array(box[2:]))
    return np.asarray(np.maximum(beyond, 0.0).max(axis=1)) if len(xy) else np.empty(0)


def thinned(xy: Floats, side_m: float) -> Floats:
    """One place of each square of ``side_m``."""
    return np.asarray(xy[thinned_rows(xy, side_m)])


def thinned_rows(xy: Floats, side_m: float) -> NDArray[np.int64]:
    """Row of one place of each square of ``side_m``, in order."""
    cell = np.floor(xy / side_m).astype(np.int64)
    return np.sort(np.unique(cell_number(cell), return_index=True)[1])
