"""Connected groups of pixels and distances among them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EIGHT = np.ones((3, 3), dtype=bool)
"""Pixels that touch at a corner belong together."""

LENGTHWISE = 0.6
"""Pieces that touch along more than this share of their length lie side by side."""

MOST = 8.0
"""The power of a value by which pixels weigh in the middle of where it is great."""

SLIVER = 0.35
"""A piece that is shorter than so much of a square's side is no section of its own."""


def connected(mask: Mask, least_pixels: float) -> Iterator[tuple[Ints, Ints]]:
    """Rows and columns of each connected group of at least ``least_pixels``, in the order of their first pixel."""
    labels, _ = ndimage.label(mask, structure=EIGHT)
    for number, window in enumerate(ndimage.find_objects(labels), start=1):
        rows, columns = np.nonzero(labels[window] == number)
        if len(rows) >= least_pixels:
            yield rows + window[0].start, columns + window[1].start


def distance_px(mask: Mask) -> Floats:
    """Distance of each True pixel to the nearest False one [pixels]; the frame's outside counts as False."""
    return np.asarray(ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1])


def within_px(mask: Mask, radius_px: float) -> Mask:
    """Pixels no farther than ``radius_px`` from a True one."""
    if not mask.any():
        return np.zeros_like(mask)
    return np.asarray(ndimage.distance_transform_edt(~mask) <= radius_px)


def opened(mask: Mask, radius_px: float) -> Mask:
    """Morphological opening with a disc: parts narrower than twice the radius fall away."""
    return within_px(distance_px(mask) > radius_px, radius_px) & mask


def closed(mask: Mask, radius_px: float) -> Mask:
    """Morphological closing with a disc: gaps narrower than twice the radius are filled."""
    margin = int(np.ceil(radius_px)) + 1
    wide = within_px(np.pad(mask, margin), radius_px)
    return np.asarray(distance_px(wide) > radius_px)[margin:-margin, margin:-margin] | mask


def crop(shape: tuple[int, int], rows: Ints, columns: Ints, margin_px: float) -> tuple[slice, slice]:
    """The window around some pixels with a margin, cut at the frame."""
    margin = int(np.ceil(margin_px))
    return (
        slice(max(int(rows.min()) - margin, 0), min(int(rows.max()) + margin + 1, shape[0])),
        slice(max(int(columns.min()) - margin, 0), min(int(columns.max()) + margin + 1, shape[1])),
    )


def middle_of_most(rows: Ints, columns: Ints, value: Floats) -> tuple[int, int]:
    """The pixel nearest to the middle of where ``value`` (k,), 0 or more, is great: the one where it is greatest moves
    with every reading."""
    weight = (value / value.max()) ** MOST if value.max() > 0 else np.ones(len(value))
    away = np.hypot(rows - np.average(rows, weights=weight), columns - np.average(columns, weights=weight))
    nearest = int(np.argmin(np.round(away, 6)))
    return int(rows[nearest]), int(columns[nearest])


def sections(rows: Ints, columns: Ints, longest_px: float, corner: tuple[float, float]) -> list[tuple[Ints, Ints]]:
    """A group of pixels cut along squares that lie fast on the ground, no piece longer than ``longest_px`` but by a
    sliver: where the group begins and ends moves with every reading, and cuts must not move with it.

    ``corner``: row and column of the place that the squares are counted from.
    """
    side = longest_px / np.sqrt(2.0)
    square = np.floor(np.column_stack([rows - corner[0], columns - corner[1]]) / side).astype(np.int64)
    _, number = np.unique(square, axis=0, return_inverse=True)
    pieces = [
        part for one in range(int(number.max()) + 1)
        for part in _parts(rows[number.ravel() == one], columns[number.ravel() == one])
    ]
    return _without_slivers(pieces, SLIVER * side)


def _without_slivers(pieces: list[tuple[Ints, Ints]], least_px: float) -> list[tuple[Ints, Ints]]:
    """Pieces go to the one that they touch most, the smallest first, where they are shorter than ``least_px`` or touch
    it along most of their length: a side of a square that runs along a band is no place to cut it."""
    whole = sorted((np.column_stack(piece) for piece in pieces), key=lambda piece: (len(piece), *piece[0]))
    kept = []
    while whole:
        one = whole.pop(0)
        touching = [int(np.sum(cKDTree(one).query(piece, distance_upper_bound=1.5)[0] < 1.5)) for piece in whole]
        long = float(np.hypot(*np.ptp(one, axis=0)))
        most = int(np.argmax(touching)) if touching else -1
        if most >= 0 and touching[most] and (long < least_px or touching[most] > LENGTHWISE * long):
            whole[most] = np.concatenate([whole[most], one])
        else:
            kept.append(one)
    return [(piece[:, 0], piece[:, 1]) for piece in kept]


def _parts(rows: Ints, columns: Ints) -> list[tuple[Ints, Ints]]:
    window = crop((int(rows.max()) + 1, int(columns.max()) + 1), rows, columns, 0)
    mask = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), bool)
    mask[rows - window[0].start, columns - window[1].start] = True
    return [(r + window[0].start, c + window[1].start) for r, c in connected(mask, 1)]
