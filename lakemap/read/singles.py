"""Single readings without a track: how each was taken, and what error it has where the table does not say it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lakemap.units import plural

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]

WAYS = ("line", "pole", "ice", "ice top", "cast")
"""A weighted line; a pole; a line or pole through a hole in the ice, from the water in the hole or from the top of the
ice; a castable sounder."""
LINE, POLE, ICE, ICE_TOP, CAST = range(len(WAYS))
OTHER_WORDS: Mapping[str, str] = {
    "lead line": "line", "leadline": "line", "weighted line": "line", "handline": "line", "rope": "line",
    "stick": "pole", "rod": "pole", "staff": "pole", "hole": "ice", "ice hole": "ice", "through ice": "ice",
    "ice_top": "ice top", "top of ice": "ice top", "casting": "cast", "castable": "cast", "cast sounder": "cast",
}
WORDS = (*WAYS, *OTHER_WORDS)
_WAY_OF_WORD = np.array([WAYS.index(OTHER_WORDS.get(word, word)) for word in WORDS], dtype=np.int8)

DEPTH_ERROR_M = (0.05, 0.05, 0.05, 0.08, 0.10)
DEPTH_ERROR_SHARE = (0.02, 0.01, 0.01, 0.01, 0.01)
"""Standard error of a depth by way: a constant, and a share of depth (a line that drift bends reads too deep, a
float rides waves; from the top of the ice the water's level in the hole is estimated). Own judgement, no source."""
POSITION_ERROR_M = (5.0, 5.0, 5.0, 5.0, 25.0)
"""Standard error of a position by way: a phone under open sky; of a castable sounder the phone's place is logged while
it floats up to a long cast away. Own judgement, no source."""
FREEBOARD_SHARE = 1.0 - 917.0 / 1000.0
"""Ice without load stands out of the water by this share of its thickness: density of pure ice 917 kg/m3 at 0 degC
(handbook value) on water of 1000 kg/m3. Snow presses it down: with much of it measure from the water."""


def ways_of(codes: Codes) -> Codes:
    """Index into WAYS (n,) from codes into WORDS; below 0 where a cell holds none."""
    return np.where(codes >= 0, _WAY_OF_WORD[np.maximum(codes, 0)], codes).astype(np.int8)


def default_errors_m(way: Codes, depth_m: Floats) -> tuple[Floats, Floats]:
    """Standard errors of depth and position [m] (n,) by way; NaN for rows of none: they are ordinary soundings."""
    known, at = way >= 0, np.maximum(way, 0)
    depth = np.hypot(np.array(DEPTH_ERROR_M)[at], np.array(DEPTH_ERROR_SHARE)[at] * depth_m)
    return np.where(known, depth, np.nan), np.where(known, np.array(POSITION_ERROR_M)[at], np.nan)


def freeboard_m(way: Codes, thickness_m: Floats) -> Floats:
    """How far the top of the ice stands above the water [m] (n,): what depths from the top of the ice are too large by;
    0 for all other ways, and where the thickness is not known."""
    return np.where(way == ICE_TOP, FREEBOARD_SHARE * np.nan_to_num(thickness_m), 0.0)


def said_of_singles(way: Codes, thickness_m: Floats, name: str) -> list[str]:
    """What the report says of a table of single readings."""
    said = [f"{name}: single readings ({_counted(way)}); no pass is made of them"]
    top = way == ICE_TOP
    if top.any():
        bare = int((top & ~np.isfinite(thickness_m)).sum())
        said.append(
            f"{name}: {plural(int(top.sum()), 'depth')} from the top of the ice; {100 * FREEBOARD_SHARE:.1f} % of its "
            "thickness is taken off" + (f", but {bare} do not say the thickness and stay as they are" if bare else "")
        )
    if (way == CAST).any() and ((way >= 0) & (way != CAST)).any():
        said.append(f"{name}: castings beside depths by line or pole; all are taken as by sound, put them into tables "
                    "of their own to keep draft and sound speed off the others")
    return said


def _counted(way: Codes) -> str:
    return ", ".join(f"{word} {int((way == code).sum())}" for code, word in enumerate(WAYS) if (way == code).any())
