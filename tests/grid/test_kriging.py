"""Ordinary kriging against published and hand-made answers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference_tables import rows

from lakemap.grid.kriging import KrigingOptions, OrdinaryKriging
from lakemap.grid.variogram import Variogram
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

SEVEN = rows("isaaks_srivastava_7pt.csv")
SEVEN_XY = np.array([[row["x"], row["y"]] for row in SEVEN])
SEVEN_VALUES = np.array([row["value"] for row in SEVEN])

# gstat 2.1-0 fit of the meuse sample variogram, as printed in gstat's documentation to 7 digits
MEUSE_MODEL = Variogram.single("spherical", 0.0506624, 0.5906078, 897.0209)

LINE = Variogram.single("linear", 0.0, 1.0, 1.0)


@pytest.fixture(scope="module")
def meuse():
    "The 155 points as log zinc; they ship inside scikit-gstat."
    data = pytest.importorskip("skgstat.data", reason="scikit-gstat, which carries the meuse points, is not installed")
    xy, zinc = data.meuse("zinc")["sample"]
    return Observations.of("log_zinc", xy, np.log(zinc[:, 0].astype(float)))


def krige(model, obs, at, **options):
    "Estimate and variance at places."
    estimate, sigma = OrdinaryKriging(model, KrigingOptions(**options)).fit(obs).predict(np.array(at, float))
    return estimate, sigma**2


# estimates and variances: gstat 2.1-0, the first also Isaaks & Srivastava 1989, ch. 12 (592.7 and 8.96)
@pytest.mark.parametrize(("model", "at", "estimate", "variance"), [
    (Variogram.single("exponential", 0, 10, 10), (65, 137), 592.728943, 8.956053),
    (Variogram.single("exponential", 5, 5, 10), (65, 137), 596.777007, 10.305852),
    (Variogram.single("spherical", 1, 10, 20), (65, 137), 554.527220, 4.753652),
    (Variogram.single("exponential", 0, 10, 10), (70, 135), 610.007381, 9.934548),
    (Variogram.single("exponential", 0, 10, 10), (60, 145), 604.980604, 10.914891),
    (Variogram.single("exponential", 0, 10, 10), (64, 129), 227.0, 0.0),
])
def test_seven_samples(model, at, estimate, variance):
    "The seven samples of the textbook give its estimate and variance, and a reading's own place gives the reading."
    got = krige(model, Observations.of("v", SEVEN_XY, SEVEN_VALUES), [at])
    assert_allclose(got, [[estimate], [variance]], atol=1e-6)


def test_seven_weights():
    "The weights are the book's: an estimate is linear in the readings, so each shows as the answer to a single one."
    model = Variogram.single("exponential", 0, 10, 10)
    got = [krige(model, Observations.of("v", SEVEN_XY, np.eye(7)[k]), [(65, 137)])[0][0] for k in range(7)]
    assert_allclose(got, [row["ok_weight"] for row in SEVEN], atol=1e-6)
    assert sum(got) == pytest.approx(1.0)


# worked by hand: weights (2/3, 1/3, 0) and (0, 1/2, 1/2)
@pytest.mark.parametrize(("at", "estimate", "variance"), [(1, 12.0, 4 / 3), (4, 23.0, 1.0)])
def test_three_on_a_line(at, estimate, variance):
    "With gamma(h) = h a reading behind another tells nothing."
    obs = Observations.of("v", [[0, 0], [3, 0], [5, 0]], [10.0, 16.0, 30.0])
    assert_allclose(krige(LINE, obs, [(at, 0)]), [[estimate], [variance]], atol=1e-9)


def test_three_in_a_triangle():
    "At the centroid of an equilateral triangle of side 2 the weights are thirds (variance 2 (2/sqrt 3) - 4/3 by hand)."
    obs = Observations.of("v", [[0, 0], [2, 0], [1, np.sqrt(3)]], [3.0, 6.0, 12.0])
    got = krige(LINE, obs, [(1, 1 / np.sqrt(3))])
    assert_allclose(got, [[7.0], [2 * (2 / np.sqrt(3) - 2 / 3)]], atol=1e-9)
    assert got[1][0] == pytest.approx(0.976068, abs=1e-6)


@pytest.mark.parametrize(("table", "options"), [
    ("meuse_logzinc_ok_points.csv", {}), ("meuse_logzinc_ok_nmax20_points.csv", {"neighbours": 20}),
])
def test_meuse(meuse, table, options):
    "Predictions and variances agree with gstat to 1e-6, with all points and with the nearest 20."
    told = rows(table)
    got = krige(MEUSE_MODEL, meuse, [[row["x"], row["y"]] for row in told], **options)
    assert_allclose(got[0], [row["var1.pred"] for row in told], atol=1e-6)
    assert_allclose(got[1], [row["var1.var"] for row in told], atol=1e-6)


@pytest.mark.parametrize("nugget", ["noise", "detail"])
def test_meuse_block(meuse, nugget):
    "The mean of a 40 m block (Gauss-Legendre, 4 x 4 nodes) is gstat's, whatever the nugget is called."
    got = krige(MEUSE_MODEL, meuse, [(181180, 333740)], block_m=40.0, nugget=nugget)
    assert_allclose(got, [[6.499157899], [0.249310767]], atol=1e-8)  # gstat 2.1-0


def test_meuse_left_out_one_by_one(meuse):
    "Leaving out one point at a time gives gstat's summary figures."
    fitted = OrdinaryKriging(MEUSE_MODEL).fit(meuse)
    rest = [np.arange(len(meuse)) != k for k in range(len(meuse))]
    got = [fitted.with_data(meuse.take(mask)).predict(meuse.xy[~mask]) for mask in rest]
    estimate, sigma = (np.concatenate(column) for column in zip(*got, strict=True))
    residual = meuse.value - estimate
    # gstat 2.1-0, krige.cv on the same model
    assert residual.mean() == pytest.approx(-2.07e-5, abs=1e-7)
    assert np.sqrt(np.mean(residual**2)) == pytest.approx(0.3918035, abs=1e-6)
    assert np.mean((residual / sigma) ** 2) == pytest.approx(0.8185457, abs=1e-6)
    assert np.corrcoef(meuse.value, estimate)[0, 1] == pytest.approx(0.8393478, abs=1e-6)


def test_noise_is_filtered_and_detail_is_kept():
    "At a reading's place a nugget that is detail gives the reading back, one that is noise does not."
    obs = Observations.of("v", SEVEN_XY, SEVEN_VALUES)
    model = Variogram.single("exponential", 5, 5, 10)
    kept, filtered = (krige(model, obs, [(64, 129)], nugget=word) for word in ("detail", "noise"))
    assert_allclose(kept, [[227.0], [0.0]], atol=1e-9)
    assert filtered[0][0] > 240
    assert 0 < filtered[1][0] < 5


def test_own_error_of_a_reading_counts():
    "Between a good and a poor reading the estimate leans to the good one."
    obs = Observations.of("v", [[-1, 0], [1, 0]], [0.0, 10.0], sigma=[0.1, 2.0])
    assert krige(LINE, obs, [(0, 0)])[0][0] < 4.0


def test_error_shared_by_a_pass_does_not_average_out():
    "Many readings of one biased pass leave the standard error of its bias; those of many passes do not."
    x = np.linspace(-50, 50, 11)
    model = Variogram.single("linear", 0.0, 1e-9, 1.0)
    bias = PassBias(np.arange(11, dtype=np.int32), np.zeros(11), np.full(11, 0.5))

    def sigma(passes):
        obs = Observations.of("v", np.column_stack([x, 0 * x]), 0 * x, 0.01, passes)
        return OrdinaryKriging(model, KrigingOptions(), bias).fit(obs).predict(np.array([[0.0, 1.0]]))[1][0]

    assert sigma(np.zeros(11)) == pytest.approx(0.5, rel=0.01)
    assert sigma(np.arange(11)) == pytest.approx(0.5 / np.sqrt(11), rel=0.01)


def test_two_readings_at_one_place():
    "Two exact readings that share a place and disagree are no failure: the estimate lies between them."
    obs = Observations.of("v", [[0, 0], [0, 0], [9, 0]], [1.0, 3.0, 5.0])
    assert krige(LINE, obs, [(0, 0)])[0][0] == pytest.approx(2.0, abs=1e-3)


def test_threads_change_nothing():
    "One thread and three give the same bytes."
    rng = np.random.default_rng(1)
    obs = Observations.of("v", rng.uniform(0, 500, (300, 2)), rng.normal(size=300), 0.1, rng.integers(0, 9, 300))
    at = rng.uniform(0, 500, (3000, 2))
    made = [
        OrdinaryKriging(Variogram.single("exponential", 0.1, 1, 90), KrigingOptions(16, 2, 5.0, "noise", threads))
        .fit(obs).predict(at) for threads in (1, 3)
    ]
    assert np.array_equal(made[0], made[1])
