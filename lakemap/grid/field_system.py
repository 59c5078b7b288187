"""Nodes, trend and pass biases solved together from all readings: one sparse system, one factor, exact errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from lakemap.grid.dissection import with_last
from lakemap.grid.field_lattice import Lattice
from lakemap.grid.field_model import FieldParameters, Trend, cascade_sds, detail_growth, shape_growth
from lakemap.grid.fronts import Factor, Pattern

Floats = NDArray[np.float64]
Index = NDArray[np.int64]

KEPT = 1e-250
"""Holds the place of an entry that is zero now and may not be for other weights."""
SLAB_ROWS = 20_000
"""Rows put in order at once."""


@dataclass(frozen=True)
class Design:
    """From unknowns (nodes, trend coefficients, pass biases, in this order) to readings and to pixels.

    ``bias_mean`` and ``bias_sd`` (passes,) are what is expected of the biases of ``passes``.
    """

    lattice: Lattice
    parameters: FieldParameters
    trend: Trend
    passes: NDArray[np.int32]
    bias_mean: Floats
    bias_sd: Floats

    @property
    def count(self) -> int:
        """Unknowns in all."""
        return self.lattice.count + len(self.trend.mean) + len(self.passes)

    def rows(self, xy: Floats, distance_m: Floats, pass_id: NDArray[np.int32] | None = None) -> sparse.csr_matrix:
        """One row for each place (m, count); with ``pass_id`` (m,) its pass's bias too (a pass unknown here: none)."""
        nodes = self.lattice.weights(xy, np.column_stack(self._sizes(distance_m)))
        parts = [nodes, sparse.csr_matrix(self.trend.columns(distance_m))]
        number, known = np.zeros(len(xy), np.int64), np.zeros(len(xy), dtype=bool)
        if pass_id is not None and len(self.passes):
            number = np.searchsorted(self.passes, pass_id).clip(0, len(self.passes) - 1)
            known = self.passes[number] == pass_id
        row = np.flatnonzero(known)
        parts.append(sparse.csr_matrix((np.ones(len(row)), (row, number[row])), shape=(len(xy), len(self.passes))))
        return sparse.hstack(parts, format="csr")

    def _sizes(self, distance_m: Floats) -> list[Floats]:
        """Standard deviation of each level's field at each place."""
        p = self.parameters
        grown = shape_growth(distance_m, p)
        fine = detail_growth(distance_m, p.shore_m, p.bank)
        sizes = [sd * grown for sd in cascade_sds(p.rough_sd)] + [p.detail_sd * fine]
        if len(sizes) < len(self.lattice.levels):
            return [p.middle_sd * self.trend.middle_share(distance_m), *sizes]
        return sizes

    def mean_at(self, unknowns: Floats, xy: Floats, distance_m: Floats) -> Floats:
        """The same as ``rows(xy, distance_m) @ unknowns``, fast for many places."""
        first = self.lattice.count
        out = self.trend.columns(distance_m) @ unknowns[first:first + len(self.trend.mean)]
        at = (xy - self.lattice.origin) / self.lattice.step_m
        for level, size in zip(self.lattice.levels, self._sizes(distance_m), strict=True):
            out += size * level.value_at(unknowns, at)
        return np.asarray(out)

    def prior(self) -> sparse.csr_matrix:
        """Prior precision of all unknowns."""
        plain = np.concatenate([self.trend.sd**-2.0, self.bias_sd**-2.0])
        return sparse.block_diag([self.lattice.precision(), sparse.diags(plain)], format="csr")

    def pattern(self, readings: sparse.csr_matrix, served: sparse.csr_matrix) -> tuple[Pattern, sparse.csr_matrix]:
        """Where entries may ever be, for rows of readings and of pixels' cells; and the prior with places held."""
        together = sparse.vstack([_distinct(readings), _distinct(served)], format="csr")
        together.data[:] = 1.0
        held = (together.T @ together).tocsr()
        held.data[:] = KEPT
        prior = (self.prior() + held).tocsr()
        prior.sort_indices()
        last = len(self.trend.mean) + len(self.passes)
        return Pattern(prior, with_last(self.lattice.dissection(), last)), prior


def _distinct(rows: sparse.csr_matrix) -> sparse.csr_matrix:
    """One of each set of rows with entries in the same places, known by the sum of their columns' marks."""
    marks = np.random.default_rng(0).integers(1, 2**53, rows.shape[1])
    total = np.add.reduceat(marks[rows.indices], rows.indptr[:-1].astype(np.int64))
    return rows[np.sort(np.unique(total, return_index=True)[1])]


class Posterior:
    """The unknowns' mean and precision after readings (n,) with rows (n, count) and error variances (n,)."""

    def __init__(self, pattern: Pattern, prior: sparse.csr_matrix, rows: sparse.csr_matrix, value: Floats,
                 weight: Floats) -> None:
        scaled = sparse.diags(np.sqrt(weight)) @ rows
        precision = (prior + scaled.T @ scaled).tocsr()
        precision.sort_indices()
        self.factor = Factor(pattern, precision)
        self.mean = self.factor.solve(rows.T @ (weight * value))

    def variance(self, rows: sparse.csr_matrix) -> Floats:
        """Variance of each row's product with the unknowns (m,); its entries must lie in one clique of the pattern."""
        return variances(self.factor, rows)


def variances(factor: Factor, rows: sparse.csr_matrix) -> Floats:
    """Row by row a' P^-1 a (m,) for a matrix P of which ``factor`` is the factor; see Posterior.variance."""
    place, value = _padded(factor.pattern.place, rows)
    first = np.array([front.first for front in factor.pattern.fronts])
    part = np.searchsorted(first, place[:, 0], side="right") - 1
    order = np.argsort(part, kind="stable")
    edges = np.searchsorted(part[order], np.arange(len(first) + 1))
    out = np.zeros(len(place))
    for k, (front, block) in zip(range(len(first) - 1, -1, -1), factor.inverse_blocks(), strict=True):
        if edges[k] == edges[k + 1]:
            continue
        asked = order[edges[k]:edges[k + 1]]
        at, a = place[asked], value[asked]
        own = at < front.first + front.size
        local = np.where(own, at - front.first, front.size + np.searchsorted(front.rim, at))
        local = np.minimum(local, len(block) - 1)
        out[asked] = np.einsum("mi,mij,mj->m", a, block[local[:, :, None], local[:, None, :]], a, optimize=True)
    return out


def _padded(place: Index, rows: sparse.csr_matrix) -> tuple[NDArray[np.int32], Floats]:
    """Places in the order of elimination (m, q), the earliest first, and values (m, q), 0 where a row is shorter."""
    length = np.diff(rows.indptr)
    width = int(length.max()) if len(length) else 1
    at, value = np.empty((len(length), width), np.int32), np.empty((len(length), width))
    # slab by slab, because what is needed on the way is several times what is kept
    for begin in range(0, len(length), SLAB_ROWS):
        slab = slice(begin, begin + SLAB_ROWS)
        inside = np.arange(width) < length[slab, None]
        source = np.minimum(rows.indptr[:-1][slab, None] + np.arange(width), rows.nnz - 1)
        found = np.where(inside, place[rows.indices[source]], np.iinfo(np.int32).max)
        order = np.argsort(found, axis=1, kind="stable")
        found = np.take_along_axis(found, order, 1)
        at[slab] = np.where(found == np.iinfo(np.int32).max, found[:, :1], found)
        value[slab] = np.take_along_axis(np.where(inside, rows.data[source], 0.0), order, 1)
    return at, value
