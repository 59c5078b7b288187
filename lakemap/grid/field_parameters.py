"""Parameters of the field by maximum of the marginal likelihood with weak priors, on some hundreds of readings."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpotrf, dpotri
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist, squareform

from lakemap.grid.field_model import (
    CASCADE_KAPPA,
    CASCADE_WEIGHT,
    DETAIL_FROM_M,
    LEAST_DETAIL,
    MIDDLE_RANGE,
    FieldParameters,
    Trend,
    bank_bump,
    detail_growth,
    matern,
    matern_slope,
    shape_growth,
)
from lakemap.model.soundings import NO_PASS

Floats = NDArray[np.float64]

MOST_READINGS = 360
"""Readings that the likelihood is computed on: its cost grows with their third power."""
CLUSTERS = 24
"""Places around which these are picked: their neighbours by rank, so that short and long lags are both there."""
TABLE = np.concatenate([[0.0], np.geomspace(1e-4, 40.0, 1500)])
"""Scaled lags at which correlations are tabled; straight lines between them err by less than 1e-4."""
ROUNDS = 40
SHORT, SETTLED = ("detail_sd", "detail_m", "noise", "own", "bias_sd"), 0.02
"""Parameters that only readings close together tell of, and the spread of their logarithms once they are known."""
USUAL_AT_SHORE = 0.05
"""Centre of how much the depth right at the shore varies along it, as a share of the rough shape (tried on invented
lakes: 0.15 carried what a bank does ten metres off to the outline, and the first ten metres were missed twice as
much)."""
USUAL_BIAS_M = 0.12
"""Centre of what passes' biases are like [m] (common practice of the trade: 0.05 to 0.25)."""


@dataclass(frozen=True)
class Sample:
    """Readings for the likelihood: xy (n, 2), value, sigma, pass_id and distance to the shore (n,)."""

    xy: Floats
    value: Floats
    sigma: Floats
    pass_id: NDArray[np.int32]
    distance_m: Floats


@dataclass(frozen=True)
class Prior:
    """Centre of each parameter and the standard deviation of its logarithm (11,)."""

    centre: FieldParameters
    spread: Floats

    @classmethod
    def usual(
        cls, spread: float, extent_m: float, widest_m: float, noise: float, bias_sd: float = USUAL_BIAS_M
    ) -> Prior:
        """``spread`` is the readings' standard deviation or so, ``extent_m`` the lake's size, ``widest_m`` the largest
        distance to the shore. All weak: a factor of about two each way is nothing unusual."""
        centre = FieldParameters(spread, extent_m / 4, 0.15 * spread, 35.0, noise, max(0.2 * widest_m, 10.0), 1.0,
                                 0.2, bias_sd, at_shore=USUAL_AT_SHORE)
        return cls(centre, np.array([0.7, 0.7, 0.8, 0.25, 0.7, 0.7, 0.4, 0.8, 0.4, 0.6, 0.7]))

    def with_middle(self, middle_sd: float) -> Prior:
        """The same with ``middle_sd`` as the usual size of what the middle does by itself."""
        return Prior(replace(self.centre, middle_sd=middle_sd), self.spread)

    def with_short(self, found: FieldParameters) -> Prior:
        """The same, but what short lags alone can tell is as in ``found``, and settled."""
        short = np.isin([spec.name for spec in fields(FieldParameters)], SHORT)
        centre = FieldParameters.of_logs(np.where(short, found.logs(), self.centre.logs()))
        return Prior(centre, np.where(short, SETTLED, self.spread))


def pick(xy: Floats, most: int = MOST_READINGS) -> NDArray[np.int64]:
    """Rows (m,) of readings at short and long lags: around evenly spread places, neighbours of growing rank."""
    if len(xy) <= most:
        return np.arange(len(xy))
    side = max(float(np.sqrt(np.prod(np.ptp(xy, axis=0)) / CLUSTERS)), float(np.ptp(xy, axis=0).max()) / CLUSTERS)
    cell = np.floor((xy - xy.min(axis=0)) / side).astype(np.int64)
    first = np.unique(cell, axis=0, return_index=True)[1]
    member = np.unique(cell, axis=0, return_inverse=True)[1].reshape(-1)
    middle = np.column_stack([np.bincount(member, xy[:, k]) for k in (0, 1)]) / np.bincount(member)[:, None]
    tree = cKDTree(xy)
    each = max(most // len(first), 2)
    ranks = np.unique(np.round(np.geomspace(1, len(xy) / len(first), 2 * each)).astype(np.int64))
    ranks = ranks[np.unique(np.linspace(0, len(ranks) - 1, each).astype(np.int64))]
    centre = tree.query(middle)[1]
    return np.unique(tree.query(xy[centre], k=ranks.tolist())[1])


class Likelihood:
    """Minus the logarithm of the marginal likelihood times the priors, and its slope, by the parameters' logarithms."""

    def __init__(self, sample: Sample, trend: Trend, prior: Prior, biased: bool) -> None:
        self._sample, self._prior = sample, prior
        self._lag = pdist(sample.xy) if len(sample.xy) > 1 else np.empty(0)
        columns = trend.columns(sample.distance_m)
        self._rest = sample.value - columns @ trend.mean
        same = (sample.pass_id[:, None] == sample.pass_id[None, :]) & (sample.pass_id != NO_PASS)[:, None]
        self._fixed = (columns * trend.sd**2) @ columns.T
        self._same = (same & biased).astype(float)
        share = trend.middle_share(sample.distance_m)
        kappa = np.sqrt(8.0) / (MIDDLE_RANGE * max(trend.widest_m, 1.0))
        self._middle = np.outer(share, share) * self._square(matern(kappa * self._lag), 1.0)

    def __call__(self, logs: Floats) -> tuple[float, Floats]:
        """Value and gradient (11,)."""
        part = self._parts(FieldParameters.of_logs(logs))
        n = len(self._rest)
        amounts = ("rough_sd", "detail_sd", "noise", "own", "bias_sd", "middle_sd")
        covariance = self._fixed + sum(part[name] for name in amounts) / 2
        factor, info = dpotrf(covariance + 1e-9 * np.trace(covariance) / n * np.eye(n), lower=1, clean=1)
        if info:
            return 1e10, np.zeros(11)
        inverse = dpotri(factor, lower=1)[0]
        inverse = np.tril(inverse) + np.tril(inverse, -1).T
        weight = inverse @ self._rest
        away = (logs - self._prior.centre.logs()) / self._prior.spread
        value = 0.5 * self._rest @ weight + np.log(np.diag(factor)).sum() + 0.5 * away @ away
        inner = inverse - np.outer(weight, weight)
        slope = np.array([0.5 * np.sum(inner * part[spec.name]) for spec in fields(FieldParameters)])
        return float(value), slope + away / self._prior.spread

    def _parts(self, p: FieldParameters) -> dict[str, Floats]:
        """Derivative of the covariance by the logarithm of each parameter."""
        sample, distance = self._sample, self._sample.distance_m
        rough = p.rough_sd**2 * self._square(_cascade(self._lag / p.rough_m), 1.0)
        longer = p.rough_sd**2 * self._square(_cascade_slope(self._lag / p.rough_m), 0.0)
        kappa = np.sqrt(8.0) / p.detail_m
        detail = p.detail_sd**2 * self._square(np.interp(kappa * self._lag, TABLE, matern(TABLE)), 1.0)
        fading = p.detail_sd**2 * self._square(np.interp(kappa * self._lag, TABLE, matern_slope(TABLE)), 0.0)
        grown, fine = shape_growth(distance, p), detail_growth(distance, p.shore_m, p.bank)
        size, both = np.outer(grown, grown), np.outer(fine, fine)
        ratio = np.minimum(distance / p.shore_m, 700.0)
        bump = p.bank * bank_bump(distance, p.shore_m)
        bend = bump * (ratio - 1) - (1 - p.at_shore) * ratio * np.exp(-ratio)
        more = bump * np.clip(distance / DETAIL_FROM_M, LEAST_DETAIL, 1.0)
        return {
            "rough_sd": 2 * size * rough, "rough_m": -size * longer,
            "detail_sd": 2 * both * detail, "detail_m": -both * fading,
            "noise": 2 * p.noise**2 * np.eye(len(distance)), "own": np.diag(2 * (p.own * sample.sigma) ** 2),
            "shore_m": _cross(bend, grown) * rough + _cross(more * (ratio - 1), fine) * detail,
            "bias_sd": 2 * p.bias_sd**2 * self._same, "middle_sd": 2 * p.middle_sd**2 * self._middle,
            "at_shore": _cross(p.at_shore * np.exp(-ratio), grown) * rough,
            "bank": _cross(bump, grown) * rough + _cross(more, fine) * detail,
        }

    def _square(self, pairs: Floats, own: float) -> Floats:
        n = len(self._rest)
        full = squareform(pairs) if n > 1 else np.zeros((1, 1))
        full[np.arange(n), np.arange(n)] = own
        return np.asarray(full)


def _cross(change: Floats, size: Floats) -> Floats:
    """Change of the products of sizes (n, n) where the sizes change by ``change`` (n,)."""
    return np.outer(change, size) + np.outer(size, change)


def _cascade(scaled: Floats) -> Floats:
    table = sum(w * matern(k * TABLE) for w, k in zip(CASCADE_WEIGHT, CASCADE_KAPPA, strict=True))
    return np.interp(scaled, TABLE, table)


def _cascade_slope(scaled: Floats) -> Floats:
    table = sum(w * matern_slope(k * TABLE) for w, k in zip(CASCADE_WEIGHT, CASCADE_KAPPA, strict=True))
    return np.interp(scaled, TABLE, table)


def fit_parameters(sample: Sample, trend: Trend, prior: Prior, biased: bool) -> FieldParameters:
    """The parameters that the readings and the priors together make most likely."""
    likelihood = Likelihood(sample, trend, prior, biased)
    start = prior.centre.logs()
    bounds = [(centre - 4 * sd, centre + 4 * sd) for centre, sd in zip(start, prior.spread, strict=True)]
    found = minimize(likelihood, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": ROUNDS})
    return FieldParameters.of_logs(found.x)
