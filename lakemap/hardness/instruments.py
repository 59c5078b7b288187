"""Puts the readings of several logs on one scale where their passes overlap: an offset and a scale a log, with error.

Another gain, gain law or day moves all floors of a log alike; another frequency adds a trend with depth (absorption).
The trend is let in only as far as the error of absorption allows it: that deep floors are soft is no artefact.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lakemap.hardness.groups import Ints, medians, squares
from lakemap.hardness.reading import Floats, Mask, Reading

ROUNDS = 40
DETAIL = 0.06
"""How much the floor itself differs within one place, as hardness (own choice)."""
ROBUST = 2.0
"""Places farther from the fit than so many standard errors weigh less (Huber), and hardly count once it has settled."""
FOLDS = 8
"""Places are left out in so many groups to learn the error of offset and scale (jackknife)."""


@dataclass(frozen=True)
class Trust:
    """How far each of k instruments may be off before anything is compared: standard errors of its offset and scale
    [hardness, share], and of a trend with depth [hardness per metre]."""

    offset: Floats
    scale: Floats
    trend: Floats


@dataclass(frozen=True)
class Places:
    """Medians of instruments in squares where two or more of them read: instrument, square and depth (m,), the median
    hardness and its variance (m,)."""

    instrument: Ints
    square: Ints
    depth_m: Floats
    hardness: Floats
    variance: Floats

    def take(self, rows: Mask) -> Places:
        """Some of them."""
        return Places(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Joined:
    """For k instruments: reading = offset + scale * common + trend * depth; ``error`` of the common hardness that comes
    of it; ``places`` (k,) shared with others (0: stands alone); ``by_samples`` (k,): bottom samples that tell the
    offset of one that stands alone."""

    offset: Floats
    scale: Floats
    trend: Floats
    error: Floats
    places: Ints
    by_samples: Ints = field(default_factory=lambda: np.empty(0, np.int64))


def shared_places(reading: Reading, instrument: Ints, xy: Floats, depth_m: Floats, side_m: float) -> Places:
    """Squares of side ``side_m`` in which several instruments (n,) read; bounds stay out, -1 is no instrument."""
    rows = np.flatnonzero(
        reading.observed & ~reading.censored & (instrument >= 0) & np.isfinite(xy).all(axis=1) & np.isfinite(depth_m)
    )
    square = squares(xy[rows], side_m)
    k = int(instrument.max(initial=0)) + 1
    key, code, count = np.unique(square * k + instrument[rows], return_inverse=True, return_counts=True)
    where, which = key // k, key % k
    several = np.isin(where, where[1:][where[1:] == where[:-1]])
    spread = medians(reading.sigma[rows], code, len(key))
    found = Places(
        which, where, medians(depth_m[rows], code, len(key)), medians(reading.value[rows], code, len(key)),
        DETAIL**2 + 1.57 * spread**2 / count,
    )
    return found.take(several)


def join(places: Places, trust: Trust, fewest: int) -> Joined:
    """Offset, scale and trend of each instrument so that they agree in the places, each held by how far it is trusted.

    The common hardness of each place is estimated together with them, so noise in one log does not flatten another's
    scale. An instrument with fewer than ``fewest`` places stays as it is, with all its distrust as error.
    """
    k = len(trust.offset)
    counted = np.bincount(places.instrument, minlength=k)
    enough = counted >= fewest
    places = _several(places.take(enough[places.instrument]))
    counted = np.bincount(places.instrument, minlength=k)
    fitted = _fit(places, trust)
    if len(places.hardness) == 0:
        return Joined(*fitted, _alone(trust, counted), counted)
    middle = float(np.median(places.hardness)), float(np.median(places.depth_m))
    folds = np.unique(places.square, return_inverse=True)[1] % FOLDS
    common = np.array([_common(_fit(_several(places.take(folds != fold)), trust), middle) for fold in range(FOLDS)])
    error = np.sqrt((FOLDS - 1) / FOLDS * np.sum((common - common.mean(axis=0)) ** 2, axis=0))
    return Joined(*fitted, np.where(counted > 0, error, _alone(trust, counted)), counted)


def _alone(trust: Trust, counted: Ints) -> Floats:
    """Error of instruments that meet no other: none for the one that all else is put beside, else their distrust."""
    error = np.where(counted > 0, 0.0, trust.offset)
    if len(error) and not counted.any():
        error[int(np.argmin(trust.offset))] = 0.0
    return error


def _common(fitted: tuple[Floats, Floats, Floats], middle: tuple[float, float]) -> Floats:
    """What each instrument's reading in the middle of all places means on the common scale."""
    offset, scale, trend = fitted
    return np.asarray((middle[0] - offset - trend * middle[1]) / scale)


def _several(places: Places) -> Places:
    square, count = np.unique(places.square, return_counts=True)
    return places.take(np.isin(places.square, square[count > 1]))


def _fit(places: Places, trust: Trust) -> tuple[Floats, Floats, Floats]:
    """Turns about between the common hardness of each place and each instrument's line through it."""
    k = len(trust.offset)
    offset, scale, trend = np.zeros(k), np.ones(k), np.zeros(k)
    if len(places.hardness) == 0:
        return offset, scale, trend
    _, square = np.unique(places.square, return_inverse=True)
    weight = 1.0 / places.variance
    for turn in range(ROUNDS):
        a, b, c = (column[places.instrument] for column in (offset, scale, trend))
        above = np.bincount(square, weight * b * (places.hardness - a - c * places.depth_m))
        common = (above / np.bincount(square, weight * b**2))[square]
        miss = (places.hardness - a - b * common - c * places.depth_m) / np.sqrt(places.variance)
        power = 1.0 if turn < ROUNDS // 2 else 3.0
        weight = np.minimum(1.0, ROBUST / np.maximum(np.abs(miss), 1e-9)) ** power / places.variance
        for one in np.unique(places.instrument):
            rows = places.instrument == one
            columns = np.column_stack([np.ones(rows.sum()), common[rows], places.depth_m[rows]])
            offset[one], scale[one], trend[one] = _line(columns, places.hardness[rows], weight[rows], trust, int(one))
    return offset, scale, trend


def _line(columns: Floats, value: Floats, weight: Floats, trust: Trust, one: int) -> Floats:
    """Weighted least squares with each coefficient held at 0, 1, 0 by its distrust."""
    held = np.array([trust.offset[one], trust.scale[one], trust.trend[one]]) ** -2.0
    left = (columns * weight[:, None]).T @ columns + np.diag(held)
    return np.asarray(np.linalg.solve(left, (columns * weight[:, None]).T @ value + held * np.array([0.0, 1.0, 0.0])))
