"""The sparse factor and the selected inverse beside dense linear algebra."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import sparse

from lakemap.grid.dissection import dissect, with_last
from lakemap.grid.field_lattice import lattice_for
from lakemap.grid.field_system import variances
from lakemap.grid.fronts import Factor, NotPositive, Pattern


def system(columns, rows, last=3):
    "A lattice's squared Laplacian with some nodes tied to all others, and its factor."
    place = np.array([(x, y) for y in range(rows) for x in range(columns)])
    chain = [sparse.diags([-1.0, 2.0, -1.0], [-1, 0, 1], (n, n)) for n in (columns, rows)]
    half = sparse.kron(sparse.identity(rows), chain[0]) + sparse.kron(chain[1], sparse.identity(columns))
    half = half + 0.2 * sparse.identity(columns * rows)
    tied = sparse.csr_matrix(np.random.default_rng(1).normal(0, 0.1, (columns * rows, last)))
    matrix = sparse.bmat([[half @ half, tied], [tied.T, 9.0 * sparse.identity(last)]], format="csr")
    matrix.sort_indices()
    pattern = Pattern(matrix, with_last(dissect(place, np.ones(len(place), int)), last))
    return matrix, Factor(pattern, matrix)


@settings(max_examples=12, deadline=None)
@given(columns=st.integers(2, 25), rows=st.integers(2, 25))
def test_the_factor_solves_as_a_dense_one_does(columns, rows):
    "Solutions, the logarithm of the determinant and the diagonal of the inverse agree with numpy's."
    matrix, factor = system(columns, rows)
    dense = matrix.toarray()
    right = np.random.default_rng(2).normal(size=(len(dense), 2))
    assert_allclose(factor.solve(right), np.linalg.solve(dense, right), rtol=1e-8, atol=1e-10)
    assert factor.log_det == pytest.approx(np.linalg.slogdet(dense)[1])
    own = variances(factor, sparse.identity(len(dense), format="csr"))
    assert_allclose(own, np.diag(np.linalg.inv(dense)), rtol=1e-8)


def test_errors_of_sums_need_the_inverse_beside_the_diagonal_too():
    "a' inverse a for rows a with entries at neighbours and at nodes tied to all."
    matrix, factor = system(17, 23)
    inverse = np.linalg.inv(matrix.toarray())
    n, rng = matrix.shape[0], np.random.default_rng(3)
    rows = sparse.lil_matrix((40, n))
    for k, (x, y) in enumerate(rng.integers(0, [16, 23], (40, 2))):
        node = 17 * y + x
        rows[k, [node, node + 1, n - 1, n - 3]] = rng.normal(size=4)
    told = variances(factor, rows.tocsr())
    assert_allclose(told, np.diag(rows @ inverse @ rows.T), rtol=1e-8)


def test_draws_have_the_covariance_of_the_inverse():
    "Colouring unit vectors gives a root of the inverse."
    matrix, factor = system(6, 7)
    root = factor.colour(np.eye(matrix.shape[0]))
    assert_allclose(root @ root.T, np.linalg.inv(matrix.toarray()), atol=1e-10)


def test_a_matrix_without_a_factor_is_said_to_have_none():
    "An indefinite matrix does not give numbers."
    matrix, factor = system(5, 5)
    with pytest.raises(NotPositive, match="28 unknowns"):
        Factor(factor.pattern, -matrix)


def test_no_tie_runs_between_the_halves_of_a_cut():
    "On nested lattices every tie of the precision and of the cells lies within what the dissection allows."
    rng = np.random.default_rng(4)
    lattice = lattice_for(rng.uniform(0, 300, (900, 2)), 5.0, (400.0, 120.0, 30.0))
    assert [level.step for level in lattice.levels] == [4, 1, 1]
    cells = lattice.weights(lattice.middles(), np.ones((len(lattice.cells), 3)))
    cells.data[:] = 1e-3
    matrix = (lattice.precision() + cells.T @ cells).tocsr()
    matrix.sort_indices()
    factor = Factor(Pattern(matrix, lattice.dissection()), matrix)
    right = rng.normal(size=matrix.shape[0])
    assert_allclose(matrix @ factor.solve(right), right, atol=1e-7)
