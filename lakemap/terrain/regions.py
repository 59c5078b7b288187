"""Connected groups of pixels and distances among them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EIGHT = np.ones((3, 3), dtype=bool)
"""Pixels that touch at a corner belong together."""


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


def sections(rows: Ints, columns: Ints, longest_px: float) -> list[tuple[Ints, Ints]]:
    """A long group of pixels cut across its long axis until no piece is longer than ``longest_px``."""
    centred = np.column_stack([rows - rows.mean(), columns - columns.mean()])
    _, axes = np.linalg.eigh(centred.T @ centred)
    along = centred @ axes[:, -1]
    if np.ptp(along) <= longest_px:
        return [(rows, columns)]
    first = along < (along.min() + along.max()) / 2.0
    return [
        piece for half in (first, ~first)
        for part in _parts(rows[half], columns[half]) for piece in sections(*part, longest_px)
    ]


def _parts(rows: Ints, columns: Ints) -> list[tuple[Ints, Ints]]:
    window = crop((int(rows.max()) + 1, int(columns.max()) + 1), rows, columns, 0)
    mask = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), bool)
    mask[rows - window[0].start, columns - window[1].start] = True
    return [(r + window[0].start, c + window[1].start) for r, c in connected(mask, 1)]
