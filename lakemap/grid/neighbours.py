"""Which readings speak for a place: the nearest ones, but not all from one pass or one side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

CANDIDATES_EACH = 4
"""Nearest readings looked at for each one wanted."""


class Neighbourhood:
    """Finds ``wanted`` readings for each place among readings at ``xy`` (n, 2) of passes ``pass_id`` (n,).

    ``cap``: at most so many of one pass in one quadrant while others are to be had; None takes the nearest.
    """

    def __init__(self, xy: Floats, pass_id: NDArray[np.int32], wanted: int, cap: int | None) -> None:
        self._xy, self._tree = xy, cKDTree(xy)
        self._code = np.unique(pass_id, return_inverse=True)[1].astype(np.int64)
        self._wanted, self._cap = min(wanted, len(xy)), cap

    def rows(self, at: Floats) -> Rows:
        """Row numbers (m, wanted) for places ``at`` (m, 2)."""
        if self._wanted == len(self._xy):
            return np.broadcast_to(np.arange(self._wanted), (len(at), self._wanted))
        looked = self._wanted if self._cap is None else min(CANDIDATES_EACH * self._wanted, len(self._xy))
        found = self._tree.query(at, k=[*range(1, looked + 1)])[1].astype(np.int64)
        return found if self._cap is None else self._spread(at, found, self._cap)

    def nearest_m(self, at: Floats) -> Floats:
        """Distance (m,) from each place to the nearest reading [m]."""
        return np.asarray(self._tree.query(at)[0])

    def _spread(self, at: Floats, found: Rows, cap: int) -> Rows:
        away = self._xy[found] - at[:, None, :]
        quadrant = 2 * (away[..., 0] >= 0) + (away[..., 1] >= 0)
        rank = _rank_within(4 * self._code[found] + quadrant)
        place = np.arange(found.shape[1])
        order = np.argsort(np.where(rank < cap, place, place + found.shape[1]), axis=1)[:, : self._wanted]
        return np.take_along_axis(found, np.sort(order, axis=1), axis=1)


def _rank_within(key: Rows) -> Rows:
    """For each element of each row, how many before it in the row have the same key; shape (m, k)."""
    order = np.argsort(key, axis=1, kind="stable")
    ordered = np.take_along_axis(key, order, axis=1)
    place = np.broadcast_to(np.arange(key.shape[1]), key.shape)
    new = np.ones(key.shape, dtype=bool)
    new[:, 1:] = ordered[:, 1:] != ordered[:, :-1]
    start = np.maximum.accumulate(np.where(new, place, 0), axis=1)
    rank = np.empty_like(key)
    np.put_along_axis(rank, order, place - start, axis=1)
    return rank
