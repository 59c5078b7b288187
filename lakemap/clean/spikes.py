"""Single wrong depths along a pass, told apart from what may really stand on the floor.

The rule. Two or more readings that leave the floor upward and come back within ``rise_longest_m`` may be cover: note
``rise``. One reading alone that stands up is the same datum whether stump or false echo: note ``rise`` too, as
long as it is no higher than cover may be (``lone_rise_m`` and ``lone_rise_share``); higher, it is a spike. One or two
readings that hang below the floor are spikes: a hole so narrow and deep would not be seen by a beam.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.settings import CleanSettings
from lakemap.geo.excursions import Excursions, find_excursions
from lakemap.geo.floor_along import Floor, SailedLine
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Bools = NDArray[np.bool_]

SPIKE_PINGS = 2
"""A longer run below the floor is a hole."""
NEAR_SURFACE = 0.9
"""Two readings that stand up through this share of the depth are noise at the surface, not cover."""
STEEPEST = 0.5
"""A departure counts only where it stands steeper than this over half its length; else it may be slopes."""
END_ROWS = 2
END_M, END_SHARE, END_SIGMAS = 2.0, 0.3, 10.0
"""At the ends of a stretch, where nothing shows whether the floor comes back, only the absurd is a spike."""


def flag_spikes(soundings: Soundings, line: SailedLine, floor: Floor, settings: CleanSettings) -> Soundings:
    """Flag spikes and note rises along ``line`` with its running ``floor``; see the module's text for the rule."""
    up = find_excursions(line, floor, upward=True, longest_m=np.inf)
    down = find_excursions(line, floor, upward=False, longest_m=np.inf)
    absurd = _absurd(up, settings)
    narrow = (down.pings <= SPIKE_PINGS) & _clear(down, settings)
    spike = up.take(absurd).rows_mask(len(line)) | down.take(narrow).rows_mask(len(line)) | _at_ends(line, floor)
    rise = up.take(~absurd & (up.length_m <= settings.rise_longest_m)).rows_mask(len(line)) & ~spike
    flagged = soundings.with_flag(Flag.spike, _rows_of(line, spike, len(soundings)))
    return flagged.with_flag(Flag.rise, _rows_of(line, rise, len(soundings)))


def _rows_of(line: SailedLine, mask: Bools, n: int) -> Bools:
    out = np.zeros(n, dtype=bool)
    out[line.rows[mask]] = True
    return out


def _clear(found: Excursions, settings: CleanSettings) -> Bools:
    """Runs farther from the floor than a spike must be."""
    least = np.maximum(settings.spike_m, settings.spike_sigmas * found.scatter_m)
    return np.asarray(found.height_m >= np.maximum(least, STEEPEST * found.length_m / 2))


def _absurd(up: Excursions, settings: CleanSettings) -> Bools:
    """Runs that stand higher than cover may."""
    limit = np.minimum(settings.lone_rise_m, settings.lone_rise_share * up.floor_m)
    lone = (up.pings == 1) & (up.height_m > limit)
    surface = (up.pings <= SPIKE_PINGS) & (up.height_m > NEAR_SURFACE * up.floor_m)
    return np.asarray((lone | surface) & _clear(up, settings))


def _at_ends(line: SailedLine, floor: Floor) -> Bools:
    """Absurd readings among the first and last END_ROWS of stretches that are longer than a window's least."""
    here = np.arange(len(line))
    near = (here - line.start < END_ROWS) | (line.stop - here <= END_ROWS)
    limit = np.maximum(np.maximum(END_M, END_SHARE * floor.level_m), END_SIGMAS * floor.scatter_m)
    return np.asarray(near & (line.stop - line.start > 4 * END_ROWS) & (np.abs(line.depth_m - floor.level_m) > limit))
