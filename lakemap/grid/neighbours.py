"""Which readings speak for a place: the nearest ones, but not all from one pass or one side, and some from farther."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

CANDIDATES_EACH = 4
"""Nearest readings looked at for each one wanted."""

FAR_SHARE = 0.5
"""Share of a spread neighbourhood that comes from thinned readings (tried: passes far apart need it)."""


class Neighbourhood:
    """Finds ``wanted`` readings for each place among readings at ``xy`` (n, 2) of passes ``pass_id`` (n,).

    ``cap`` None takes the nearest. Else at most ``cap`` of one pass in one quadrant while others are to be had, and a
    share of them from the readings thinned to one a pass in each square of side ``thin_m``, so that fine blocks
    do not shut out what the floor does farther away.
    """

    def __init__(
        self, xy: Floats, pass_id: NDArray[np.int32], wanted: int, cap: int | None = None, thin_m: float = 0.0
    ) -> None:
        self._xy, self._tree = xy, cKDTree(xy)
        self._code = np.unique(pass_id, return_inverse=True)[1].astype(np.int64)
        self._wanted, self._cap = min(wanted, len(xy)), cap
        self._thinned = _one_a_square(xy, self._code, thin_m) if cap and thin_m > 0 else np.empty(0, np.int64)
        self._far_tree = cKDTree(xy[self._thinned]) if len(self._thinned) else None

    def rows(self, at: Floats) -> Rows:
        """Row numbers (m, wanted) for places ``at`` (m, 2)."""
        if self._wanted == len(self._xy):
            return np.broadcast_to(np.arange(self._wanted), (len(at), self._wanted))
        if self._cap is None:
            return _nearest(self._tree, at, self._wanted)
        looked = min(CANDIDATES_EACH * self._wanted, len(self._xy))
        near = _nearest(self._tree, at, looked)
        far = min(int(FAR_SHARE * self._wanted), len(self._thinned))
        if self._far_tree is None or not far:
            return self._spread(at, near, self._wanted)
        picked = self._spread(at, near, self._wanted - far)
        wide = _nearest(self._far_tree, at, min(looked, len(self._thinned)))
        return self._joined(at, picked, np.concatenate([self._thinned[wide], near], axis=1))

    def _joined(self, at: Floats, picked: Rows, more: Rows) -> Rows:
        """``picked`` and, of ``more``, what is not in it yet, to the number wanted."""
        known = np.concatenate([picked, more], axis=1)
        fresh = ~_seen_before(known)[:, picked.shape[1]:]
        wanted = self._wanted - picked.shape[1]
        return np.concatenate([picked, self._spread(at, more, wanted, fresh)], axis=1)

    def _spread(self, at: Floats, found: Rows, wanted: int, fresh: NDArray[np.bool_] | None = None) -> Rows:
        """``wanted`` of the candidates (m, k), in their order but for the cap; those not ``fresh`` come last."""
        away = self._xy[found] - at[:, None, :]
        quadrant = 2 * (away[..., 0] >= 0) + (away[..., 1] >= 0)
        rank = _rank_within(4 * self._code[found] + quadrant)
        place = np.arange(found.shape[1])
        place = np.where(rank < (self._cap or 1), place, place + found.shape[1])
        if fresh is not None:
            place = np.where(fresh, place, place + 2 * found.shape[1])
        order = np.argsort(place, axis=1, kind="stable")[:, :wanted]
        return np.take_along_axis(found, order, axis=1)


def _nearest(tree: cKDTree, at: Floats, count: int) -> Rows:
    return np.asarray(tree.query(at, k=[*range(1, count + 1)])[1], dtype=np.int64)


def _one_a_square(xy: Floats, code: Rows, side_m: float) -> Rows:
    """First reading of each pass in each square, in the order of the readings."""
    cell = np.floor(xy / side_m).astype(np.int64)
    x, y = (cell - cell.min(axis=0)).T
    # one number a square: a table of three columns takes ten times as long to sort
    return np.sort(np.unique((code * (x.max() + 1) + x) * (y.max() + 1) + y, return_index=True)[1])


def _ordered(key: Rows) -> tuple[Rows, NDArray[np.bool_]]:
    """Stable order of each row's elements by key, and where a new key begins in that order."""
    order = np.argsort(key, axis=1, kind="stable")
    ordered = np.take_along_axis(key, order, axis=1)
    new = np.ones(key.shape, dtype=bool)
    new[:, 1:] = ordered[:, 1:] != ordered[:, :-1]
    return order, new


def _seen_before(key: Rows) -> NDArray[np.bool_]:
    """Whether an element's key stood earlier in its row; shape (m, k)."""
    order, new = _ordered(key)
    seen = np.empty(key.shape, dtype=bool)
    np.put_along_axis(seen, order, ~new, axis=1)
    return seen


def _rank_within(key: Rows) -> Rows:
    """For each element of each row, how many before it in the row have the same key; shape (m, k)."""
    order, new = _ordered(key)
    place = np.broadcast_to(np.arange(key.shape[1]), key.shape)
    start = np.maximum.accumulate(np.where(new, place, 0), axis=1)
    rank = np.empty_like(key)
    np.put_along_axis(rank, order, place - start, axis=1)
    return rank
