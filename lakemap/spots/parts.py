"""Groups of hits that are more than one thing, taken apart: neighbours that one pass told apart, two heaps, chains.

All groups are worked on at once, round by round; only those just taken apart are looked at again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

ONE_RUN_S = 60.0
"""What one pass showed within this time it placed beside each other; later the boat may have come by again."""

TOLD_APART = 0.8
"""Two rises of one pass at least this share of the beam's width apart are two things: between them it saw floor."""

NARROWEST_M = 1.5
"""Nearer hits are never told apart: fixes of one pass jitter by as much (own choice)."""

LEAST_IN_HEAPS = 6
"""Fewer hits cannot show two heaps."""

THING_M = 0.5
"""Half width of a usual thing: its hits are strewn by so much beside the position errors (own choice)."""

MOST_SCALE = 1.5
"""Position errors may be this much larger than they say; what is strewn more is more than one thing (own choice)."""

GAIN_CONSTANT, GAIN_PER_LOG = 4.0, 3.0
"""Twice the gain in log likelihood that makes two heaps of one: BIC's three numbers more, and a constant for looking
along the longest axis (one thing placed to 2 m is taken apart in 2 % of cases or fewer, tests/spots/test_parts.py)."""

STREWN = 5.5
"""Hits of one thing span no more than so many of their position errors (a hundred normal errors span five)."""

HEAP_ROUNDS, NEAREST_ROUNDS = 25, 5


@dataclass(frozen=True)
class Sailed:
    """What each hit (n,) came from: pass (-1: none), time [s] (NaN unknown), the beam's width there [m]."""

    pass_id: Ints
    time_s: Floats
    width_m: Floats

    @classmethod
    def unknown(cls, count: int) -> Sailed:
        """Hits of which nothing is known but their places."""
        return cls(np.full(count, -1, np.int64), np.full(count, np.nan), np.full(count, NARROWEST_M))

    def take(self, rows: Ints) -> Sailed:
        """Some hits."""
        return Sailed(self.pass_id[rows], self.time_s[rows], self.width_m[rows])


@dataclass(frozen=True)
class _Group:
    """Rows of k groups side by side: ``number`` (m,) ascending, ``first`` (k,) row of each, what is known of each row;
    ``along`` (m,) [m] on the group's longest axis."""

    number: Ints
    first: Ints
    xy: Floats
    sigma_m: Floats
    sailed: Sailed
    along: Floats

    @classmethod
    def of(cls, number: Ints, xy: Floats, sigma_m: Floats, sailed: Sailed) -> _Group:
        first = np.flatnonzero(np.diff(number, prepend=-1))
        size = np.diff(np.append(first, len(number)))
        centre = np.add.reduceat(xy, first) / size[:, None]
        dx, dy = (xy - centre[number]).T
        sxx, syy, sxy = (np.add.reduceat(part, first) for part in (dx * dx, dy * dy, dx * dy))
        angle = 0.5 * np.arctan2(2.0 * sxy, sxx - syy)[number]
        return cls(number, first, xy, sigma_m, sailed, dx * np.cos(angle) + dy * np.sin(angle))

    def sums(self, values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, self.first))

    def some(self, chosen: Mask) -> tuple[_Group, Ints]:
        """Only the groups of a mask (k,), numbered again; and their rows here."""
        rows = np.flatnonzero(chosen[self.number])
        number = (np.cumsum(chosen) - 1)[self.number[rows]]
        return _Group.of(number, self.xy[rows], self.sigma_m[rows], self.sailed.take(rows)), rows


def taken_apart(xy: Floats, sigma_m: Floats, labels: Ints, sailed: Sailed, settings: SpotSettings) -> Ints:
    """Labels (n,) after groups of more than one thing were cut in two as long as anything speaks for it.

    ``labels`` from 0, all there. Cut are groups in which one pass showed two rises a beam's width apart; groups that
    two heaps explain better than one; groups longer than ``spot_m``.
    """
    out = labels.copy()
    following = int(out.max(initial=-1)) + 1
    open_ = np.bincount(out, minlength=following) > 1
    while open_.any():
        rows = np.flatnonzero(open_[out])
        rows = rows[np.argsort(out[rows], kind="stable")]
        old, number = np.unique(out[rows], return_inverse=True)
        group = _Group.of(np.asarray(number, np.int64), xy[rows], sigma_m[rows], sailed.take(rows))
        other, cut = _halves(group, settings)
        moved = other & cut[number]
        fresh = following + np.cumsum(cut) - 1
        out[rows[moved]] = fresh[number[moved]]
        following += int(cut.sum())
        size = np.bincount(out, minlength=following)
        open_ = np.zeros(following, bool)
        open_[old[cut]] = open_[fresh[cut]] = True
        open_ &= size > 1
    return out


def _halves(group: _Group, settings: SpotSettings) -> tuple[Mask, Mask]:
    """Which rows go (m,), and which groups are cut (k,), by the first rule that speaks."""
    go, cut = _beside_each_other(group)
    for rule in (_two_heaps, _too_long):
        left = ~cut
        if left.any():
            some, rows = group.some(left)
            goes, cuts = rule(some, settings)
            go[rows] = goes
            cut[left] = cuts
    # a half that is empty is no cut
    leaving = group.sums(go.astype(np.float64))
    size = group.sums(np.ones(len(go)))
    return go, cut & (leaving > 0) & (leaving < size)


def _beside_each_other(group: _Group) -> tuple[Mask, Mask]:
    """Groups in which one pass showed two rises a beam's width apart: every hit goes to the nearer of the two."""
    count = len(group.first)
    sailed = group.sailed
    order = np.lexsort([sailed.time_s, sailed.pass_id, group.number])
    a, b = order[:-1], order[1:]
    one_run = (group.number[a] == group.number[b]) & (sailed.pass_id[a] == sailed.pass_id[b]) & (sailed.pass_id[a] >= 0)
    one_run &= np.nan_to_num(np.abs(sailed.time_s[b] - sailed.time_s[a])) <= ONE_RUN_S
    apart = np.hypot(*(group.xy[a] - group.xy[b]).T)
    width = np.maximum(TOLD_APART * np.maximum(sailed.width_m[a], sailed.width_m[b]), NARROWEST_M)
    told = np.flatnonzero(one_run & (apart >= width))
    cut = np.zeros(count, bool)
    widest = told[np.lexsort([told, -apart[told], group.number[a[told]]])]
    groups, at = np.unique(group.number[a[widest]], return_index=True)
    cut[groups] = True
    poles = np.full((2, count, 2), np.nan)
    poles[0, groups], poles[1, groups] = group.xy[a[widest[at]]], group.xy[b[widest[at]]]
    return _nearer_to_second(group, poles, cut), cut


def _nearer_to_second(group: _Group, poles: Floats, cut: Mask) -> Mask:
    weight = 1.0 / np.maximum(group.sigma_m, 0.1) ** 2
    go = np.zeros(len(group.number), bool)
    within = cut[group.number]
    for _ in range(NEAREST_ROUNDS):
        away = np.hypot(*(group.xy[None] - poles[:, group.number]).transpose(2, 0, 1))
        now = within & (away[1] < away[0])
        if np.array_equal(now, go):
            break
        go = now
        for pole, mine in enumerate((within & ~go, go)):
            total = group.sums(weight * mine)
            for axis in (0, 1):
                mean = group.sums(weight * mine * group.xy[:, axis]) / np.where(total > 0, total, 1.0)
                poles[pole, :, axis] = np.where(total > 0, mean, poles[pole, :, axis])
    return go


def _two_heaps(group: _Group, _: SpotSettings) -> tuple[Mask, Mask]:
    """Groups that two normal heaps explain better than one, both as wide as the position errors say, or wider by one
    common factor up to MOST_SCALE (expectation and maximisation along the longest axis; Schwarz 1978 for what the
    second must gain).
    """
    weight = 1.0 / (group.sigma_m**2 + THING_M**2)
    size = group.sums(np.ones(len(weight)))
    spread = group.sums(weight * group.along**2)
    worth = (size >= LEAST_IN_HEAPS) & (spread > size + 2.0 * np.sqrt(2.0 * size))
    go, cut = np.zeros(len(weight), bool), np.zeros(len(size), bool)
    if worth.any():
        some, rows = group.some(worth)
        goes, gain, apart = _heaps(some, weight[rows])
        width = some.sums(some.sailed.width_m) / size[worth]
        enough = gain > GAIN_CONSTANT + GAIN_PER_LOG * np.log(size[worth])
        go[rows] = goes
        cut[worth] = enough & (apart >= np.maximum(NARROWEST_M, TOLD_APART * width))
    return go, cut


def _heaps(group: _Group, weight: Floats) -> tuple[Mask, Floats, Floats]:
    """Rows of the second heap (m,); twice the gain in log likelihood and the distance of the heaps (k,)."""
    number, z = group.number, group.along
    size, total = group.sums(np.ones(len(z))), group.sums(weight)
    mean = group.sums(weight * z) / total
    spread = group.sums(weight * (z - mean[number]) ** 2)
    one_scale2 = np.clip(spread / size, 1.0, MOST_SCALE**2)
    one = -0.5 * spread / one_scale2 - 0.5 * size * np.log(one_scale2)
    step = np.sqrt(spread / total)
    low, high, share, scale2 = mean - step, mean + step, np.full(len(size), 0.5), np.ones(len(size))
    for _ in range(HEAP_ROUNDS):
        first = np.log1p(-share)[number] - 0.5 * weight * (z - low[number]) ** 2 / scale2[number]
        second = np.log(share)[number] - 0.5 * weight * (z - high[number]) ** 2 / scale2[number]
        mine = expit(second - first)
        in_high, in_low = group.sums(weight * mine), group.sums(weight * (1.0 - mine))
        high = group.sums(weight * mine * z) / np.maximum(in_high, 1e-12)
        low = group.sums(weight * (1.0 - mine) * z) / np.maximum(in_low, 1e-12)
        share = np.clip(group.sums(mine) / size, 1e-3, 1.0 - 1e-3)
        left = mine * (z - high[number]) ** 2 + (1.0 - mine) * (z - low[number]) ** 2
        scale2 = np.clip(group.sums(weight * left) / size, 1.0, MOST_SCALE**2)
    two = group.sums(np.logaddexp(first, second)) - 0.5 * size * np.log(scale2)
    return mine > 0.5, 2.0 * (two - one), high - low


def _too_long(group: _Group, settings: SpotSettings) -> tuple[Mask, Mask]:
    """Groups longer than ``spot_m`` and than position errors make one thing, cut at the widest gap in the middle half
    of their longest axis."""
    order = np.lexsort([group.along, group.number])
    along, number = group.along[order], group.number[order]
    last = np.append(group.first[1:], len(number)) - 1
    least, span = along[group.first], along[last] - along[group.first]
    typical = group.sums(group.sigma_m) / group.sums(np.ones(len(number)))
    cut = span > np.maximum(settings.spot_m, STREWN * typical)
    gap = np.append(np.diff(along), -1.0)
    gap[last] = -1.0
    middle = along + gap / 2.0
    inner = np.abs(middle - (least + span / 2.0)[number]) <= span[number] / 4.0
    # outside the middle half a gap counts only where there is none inside
    rank = np.where(gap >= 0, gap + np.where(inner, 1e6, 0.0), -1.0)
    widest = np.lexsort([np.arange(len(rank)), -rank, number])[group.first]
    go = np.zeros(len(number), bool)
    go[order] = along > middle[widest][number]
    return go, cut
