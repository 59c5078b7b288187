"""Sparse Cholesky by dense blocks, and the part of the inverse that standard errors need.

A multifrontal factor (Duff & Reid 1983) along a nested dissection: each part of the order is one small dense matrix for
LAPACK. The selected inverse follows the same tree from the root down (Erisman & Tinney 1975; Takahashi et al. 1973).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg.blas import dgemm, dtrsm
from scipy.linalg.lapack import dpotrf, dpotri

from lakemap.errors import LakemapError
from lakemap.grid.dissection import Dissection

Floats = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True)
class Front:
    """One part: its nodes are positions ``first`` to ``first + size``; ``rim`` are the later positions it is tied to;
    ``rows`` and ``data`` say where the matrix's entries go, ``into`` where the rim lies in the parent's block."""

    first: int
    size: int
    rim: Index
    data: slice
    rows: Index
    into: Index
    parent: int


class Pattern:
    """Where the entries of a symmetric matrix and of its factor lie; made once for many matrices."""

    def __init__(self, matrix: sparse.csr_matrix, dissection: Dissection) -> None:
        n = matrix.shape[0]
        self.order = dissection.order
        self.place = np.empty(n, np.int64)
        self.place[self.order] = np.arange(n)
        coo = matrix.tocoo()
        row, column = self.place[coo.row], self.place[coo.col]
        lower = np.flatnonzero(row >= column)
        picked = lower[np.lexsort((row[lower], column[lower]))]
        self._picked, self._rows = picked, row[picked]
        self._start = np.searchsorted(column[picked], np.arange(n + 1))
        self.fronts = self._fronts(dissection)

    def _fronts(self, dissection: Dissection) -> list[Front]:
        start, parent = dissection.start, dissection.parent
        below: list[list[Index]] = [[] for _ in parent]
        rims: list[Index] = []
        for k, above in enumerate(parent.tolist()):
            last = start[k + 1]
            own = self._rows[self._start[start[k]]:self._start[last]]
            rim = np.unique(np.concatenate([own, *below[k]]))
            rims.append(rim[rim >= last])
            if above >= 0:
                below[above].append(rims[k])
        return [self._front(k, dissection, rims) for k in range(len(parent))]

    def _front(self, k: int, dissection: Dissection, rims: list[Index]) -> Front:
        first, last = int(dissection.start[k]), int(dissection.start[k + 1])
        data = slice(int(self._start[first]), int(self._start[last]))
        size, rim, above = last - first, rims[k], int(dissection.parent[k])
        columns = np.repeat(np.arange(size), np.diff(self._start[first:last + 1]))
        rows = _within(self._rows[data], first, size, rim)
        into = np.empty(0, np.int64)
        if above >= 0:
            begin = int(dissection.start[above])
            into = _within(rim, begin, int(dissection.start[above + 1]) - begin, rims[above])
        # blocks are in Fortran order, one column after the other
        return Front(first, size, rim, data, rows + columns * (size + len(rim)), into, above)

    def lower(self, matrix: sparse.csr_matrix) -> Floats:
        """The entries of a matrix of this pattern in the order of the factor's columns."""
        return np.asarray(matrix.data)[self._picked]


def _within(positions: Index, first: int, size: int, rim: Index) -> Index:
    """Row of each position in a block of ``size`` own nodes from ``first`` and a rim."""
    own = positions < first + size
    return np.where(own, positions - first, size + np.searchsorted(rim, positions))


class NotPositive(LakemapError):
    """The matrix has no Cholesky factor."""


class Factor:
    """The Cholesky factor of one matrix with a known pattern."""

    def __init__(self, pattern: Pattern, matrix: sparse.csr_matrix) -> None:
        self.pattern = pattern
        self._pivot: list[Floats] = []
        self._below: list[Floats] = []
        self.log_det = 0.0
        data = pattern.lower(matrix)
        waiting: list[list[tuple[Index, Floats]]] = [[] for _ in pattern.fronts]
        for k, front in enumerate(pattern.fronts):
            update = self._eliminate(front, data[front.data], waiting[k])
            waiting[k] = []
            if front.parent >= 0:
                waiting[front.parent].append((front.into, update))

    def _eliminate(self, front: Front, data: Floats, updates: list[tuple[Index, Floats]]) -> Floats:
        """Dense Cholesky of a part's block; what is left for the rim."""
        size, whole = front.size, front.size + len(front.rim)
        block = np.zeros((whole, whole), order="F")
        block.reshape(-1, order="F")[front.rows] = data
        for into, update in updates:
            block[into[:, None], into] += update
        pivot, info = dpotrf(block[:size, :size], lower=1, clean=1)
        if info:
            raise NotPositive(f"a matrix of {len(self.pattern.order)} unknowns has no Cholesky factor")
        self._pivot.append(pivot)
        self.log_det += 2.0 * float(np.log(np.diag(pivot)).sum())
        if whole == size:
            self._below.append(np.empty((0, size)))
            return np.empty((0, 0))
        below = dtrsm(1.0, pivot, block[size:, :size], side=1, lower=1, trans_a=1)
        self._below.append(below)
        return np.asarray(dgemm(-1.0, below, below, beta=1.0, c=block[size:, size:], trans_b=1))

    def solve(self, right: Floats) -> Floats:
        """Solution for right sides (n,) or (n, k)."""
        work = np.array(right, dtype=np.float64)[self.pattern.order]
        flat = work.reshape(len(work), -1)
        for front, pivot, below in zip(self.pattern.fronts, self._pivot, self._below, strict=True):
            own = slice(front.first, front.first + front.size)
            flat[own] = dtrsm(1.0, pivot, flat[own], lower=1)
            flat[front.rim] -= below @ flat[own]
        self._backward(flat)
        out = np.empty_like(work)
        out[self.pattern.order] = work
        return out

    def _backward(self, flat: Floats) -> None:
        """Solve with the transposed factor in place, rows in the order of elimination."""
        for front, pivot, below in zip(self.pattern.fronts[::-1], self._pivot[::-1], self._below[::-1], strict=True):
            own = slice(front.first, front.first + front.size)
            flat[own] = dtrsm(1.0, pivot, flat[own] - below.T @ flat[front.rim], lower=1, trans_a=1)

    def colour(self, white: Floats) -> Floats:
        """Draws (n, k) with this matrix as precision from standard normal numbers (n, k)."""
        work = np.array(white, dtype=np.float64)
        self._backward(work)
        out = np.empty_like(work)
        out[self.pattern.order] = work
        return out

    def inverse_blocks(self) -> Iterator[tuple[Front, Floats]]:
        """For each part, from the last to the first, the inverse between its nodes and its rim, in that order."""
        children = np.bincount([front.parent for front in self.pattern.fronts if front.parent >= 0],
                               minlength=len(self.pattern.fronts))
        held: dict[int, Floats] = {}
        for k in range(len(self.pattern.fronts) - 1, -1, -1):
            front = self.pattern.fronts[k]
            rim = np.empty((0, 0))
            if front.parent >= 0:
                above = held[front.parent]
                rim = above[front.into[:, None], front.into]
                children[front.parent] -= 1
                if not children[front.parent]:
                    del held[front.parent]
            block = _inverse_block(self._pivot[k], self._below[k], rim)
            if children[k]:
                held[k] = block
            yield front, block


def _inverse_block(pivot: Floats, below: Floats, rim: Floats) -> Floats:
    """Inverse on a part and its rim from the inverse on the rim."""
    size, whole = len(pivot), len(pivot) + len(rim)
    block = np.empty((whole, whole), order="F")
    own = dpotri(pivot, lower=1)[0]
    own = np.tril(own) + np.tril(own, -1).T
    if len(rim):
        share = dtrsm(1.0, pivot, below, side=1, lower=1)
        across = -(rim @ share)
        block[size:, :size], block[:size, size:] = across, across.T
        block[size:, size:] = rim
        own = own - share.T @ across
    block[:size, :size] = own
    return block
