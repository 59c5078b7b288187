"""Order of elimination for nodes that lie on a plane: nested dissection by straight cuts (George 1973)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Index = NDArray[np.int64]

LEAF = 96
"""Nodes of a part that is cut no further; a dense block of this size costs less than its book-keeping (tried)."""


@dataclass(frozen=True)
class Dissection:
    """``order`` (n,): nodes in the order of elimination; part k holds ``order[start[k]:start[k + 1]]`` and hangs on
    part ``parent[k]``, which comes later (-1: the last)."""

    order: Index
    start: Index
    parent: Index


def with_last(dissection: Dissection, count: int) -> Dissection:
    """``count`` more nodes, numbered after all others, that may be tied to any: they are eliminated last."""
    if not count:
        return dissection
    nodes, parts = len(dissection.order), len(dissection.parent)
    return Dissection(
        np.concatenate([dissection.order, nodes + np.arange(count)]),
        np.append(dissection.start, nodes + count),
        np.append(np.where(dissection.parent < 0, parts, dissection.parent), -1),
    )


def dissect(place: Index, reach: Index) -> Dissection:
    """Cut the nodes (n, 2), at whole numbers, into halves and a strip between them, and so on.

    Two nodes may be tied when they are closer, each way, than the sum of their ``reach`` (n,), the strip's half width
    for a node; then no tie runs between the two halves.
    """
    parts: list[Index] = []
    parent: list[int] = []
    stack: list[tuple[Index, int]] = [(np.arange(len(place)), -1)]
    # parts are found from the last to the first, each before what hangs on it
    while stack:
        nodes, above = stack.pop()
        cut = _cut(place[nodes], reach[nodes]) if len(nodes) > LEAF else None
        number = len(parts)
        parent.append(above)
        if cut is None:
            parts.append(nodes)
            continue
        parts.append(nodes[cut == 0])
        stack += [(nodes[cut < 0], number), (nodes[cut > 0], number)]
    count = len(parts)
    turned = np.array(parent[::-1])
    start = np.concatenate([[0], np.cumsum([len(part) for part in parts[::-1]])])
    return Dissection(np.concatenate(parts[::-1]), start, np.where(turned < 0, -1, count - 1 - turned))


def _cut(place: Index, reach: Index) -> NDArray[np.int64] | None:
    """-1, 0 or 1 for each node: one side, the strip, the other side; None where no cut leaves something on both."""
    longer = int(np.argmax(np.ptp(place, axis=0)))
    for axis in (longer, 1 - longer):
        along = place[:, axis]
        middle = np.floor(np.median(along)) + 0.5
        side = np.where(np.abs(along - middle) < reach, 0, np.sign(along - middle)).astype(np.int64)
        if (side < 0).any() and (side > 0).any() and np.count_nonzero(side == 0) < len(along) // 2:
            return side
    return None
