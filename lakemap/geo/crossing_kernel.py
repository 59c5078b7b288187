"""Compiled loops of geo/crossovers.py: serial, cached, each with a plain twin in the tests. Import only where used."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@kernel()
def thin(x_m: Floats, y_m: Floats, part: Ints, least_m: float) -> NDArray[np.bool_]:
    """Which places (n,) to keep so that those kept in a row of one ``part`` are ``least_m`` apart; the last stays too.
    """
    keep = np.zeros(len(x_m), np.bool_)
    last = 0
    for i in range(len(x_m)):
        if i == 0 or part[i] != part[i - 1]:
            keep[i] = True
        else:
            away = (x_m[i] - x_m[last]) ** 2 + (y_m[i] - y_m[last]) ** 2
            keep[i] = away >= least_m**2 or i + 1 == len(x_m) or part[i + 1] != part[i]
        if keep[i]:
            last = i
    return keep


@kernel()
def meet(
    ends: Floats, first: Ints, piece_a: Ints, piece_b: Ints, least_sin: float, room: int
) -> tuple[int, Ints, Ints, Floats, Floats]:
    """Segments that cross, among all pairs of two pieces.

    ``ends`` (s, 4): x, y of both ends of each segment; piece k holds segments ``first[k]`` to ``first[k + 1] - 1``;
    pairs of pieces (p,). Returns how many cross, and for the first ``room`` of them: both segments, and the share
    (0..1) of each at which they do.
    """
    found_i, found_j = np.empty(room, np.int64), np.empty(room, np.int64)
    along_i, along_j = np.empty(room), np.empty(room)
    count = 0
    for k in range(len(piece_a)):
        for i in range(first[piece_a[k]], first[piece_a[k] + 1]):
            ax, ay, bx, by = ends[i]
            ux, uy = bx - ax, by - ay
            for j in range(first[piece_b[k]], first[piece_b[k] + 1]):
                cx, cy, dx, dy = ends[j]
                if (max(cx, dx) < min(ax, bx) or min(cx, dx) > max(ax, bx)
                        or max(cy, dy) < min(ay, by) or min(cy, dy) > max(ay, by)):
                    continue
                vx, vy, wx, wy = dx - cx, dy - cy, cx - ax, cy - ay
                cross = ux * vy - uy * vx
                if abs(cross) <= least_sin * np.sqrt(ux * ux + uy * uy) * np.sqrt(vx * vx + vy * vy):
                    continue
                s, t = (wx * vy - wy * vx) / cross, (wx * uy - wy * ux) / cross
                if s >= 0 and s < 1 and t >= 0 and t < 1:
                    if count < room:
                        found_i[count], found_j[count], along_i[count], along_j[count] = i, j, s, t
                    count += 1
    return count, found_i, found_j, along_i, along_j
