"""Words that people use for a bottom, as mean grain size on the standard scale with how far each may be off."""

from __future__ import annotations

import re

NOTHING = (float("nan"), float("nan"))

BOTTOM_WORDS: dict[str, tuple[float, float]] = {
    "bedrock": (-9.0, 1.0), "rock": (-8.5, 1.5), "ledge": (-9.0, 1.0), "boulder": (-8.5, 0.8), "riprap": (-8.0, 1.0),
    "cobble": (-7.0, 0.8), "rubble": (-6.5, 1.2), "stone": (-5.0, 1.5), "pebble": (-4.0, 1.2), "gravel": (-2.5, 1.5),
    "shell": (-2.0, 1.5), "granule": (-1.5, 0.4),
    "coarse sand": (0.5, 0.5), "medium sand": (1.5, 0.5), "sand": (1.5, 1.1), "fine sand": (2.5, 0.5),
    "very fine sand": (3.5, 0.4), "loam": (5.0, 1.2), "silt": (5.5, 1.2), "marl": (5.5, 2.0), "mud": (6.8, 1.3),
    "muck": (7.2, 1.3), "ooze": (7.5, 1.3), "peat": (7.5, 1.8), "detritus": (7.2, 1.8), "leaf": (7.0, 1.8),
    "clay": (8.5, 0.8), "hard": (-1.0, 2.5), "firm": (1.5, 1.5), "soft": (6.8, 1.5),
    "weed": NOTHING, "grass": NOTHING, "lily": NOTHING, "wood": NOTHING, "brush": NOTHING, "stump": NOTHING,
}
"""Mean grain size [phi] and its standard error. Classes with a printed limit lie in the middle of it (Wentworth 1922,
J. Geol. 30:377); words of the shore (muck, loam, firm) are our own reading of them. Weed and wood hide the floor."""

_ADJECTIVES = {
    "rocky": "rock", "bouldery": "boulder", "cobbly": "cobble", "stony": "stone", "pebbly": "pebble",
    "gravelly": "gravel", "shelly": "shell", "sandy": "sand", "silty": "silt", "loamy": "loam", "marly": "marl",
    "muddy": "mud", "mucky": "muck", "peaty": "peat", "clayey": "clay", "weedy": "weed", "grassy": "grass",
}
_PLURALS = {"leaves": "leaf", "lilies": "lily", "stones": "stone", "grasses": "grass"}
_MAIN_SHARE = 0.7
"""Of "silty sand" so much is sand; of "sand and silt" each has half."""
_JOINTS = re.compile(r"\s*(?:,|;|/|\+|&|\band\b|\bwith\b|\bover\b|\bon\b)\s*")

FELT_SIGMA_PHI: dict[str, float] = {
    "grab": 0.3, "core": 0.3, "dry": 0.3, "seen": 0.4, "camera": 0.4, "dive": 0.3, "pole": 0.7, "weight": 0.9,
    "sinker": 0.9, "lead": 0.9, "lure": 1.2, "jig": 1.2, "anchor": 1.0, "hook": 1.3,
}
"""What the way of feeling adds to the error [phi]; the words before it in one cell count ("with the pole")."""
UNTOLD_SIGMA_PHI = 0.9


def grain_of_words(text: str) -> tuple[float, float] | None:
    """Mean grain size and its error [phi] of a bottom as people write it; NaN for what hides it; None for no known
    word."""
    parts = [part for part in _JOINTS.split(" ".join(text.lower().replace("_", " ").split())) if part]
    known = [one for one in map(_one, parts) if one is not None]
    if not known:
        return None
    sizes = [one for one in known if one[0] == one[0]]
    if not sizes:
        return NOTHING
    mean = sum(size for size, _ in sizes) / len(sizes)
    spread = sum(sigma**2 + (size - mean) ** 2 for size, sigma in sizes) / len(sizes)
    return mean, float(spread**0.5)


def _one(text: str) -> tuple[float, float] | None:
    """One bottom, such as ``silty fine sand``: the longest known words at the end, adjectives before them."""
    words = [_PLURALS.get(word, word) for word in re.findall(r"[^\W\d_]+", text)]
    for length in range(min(3, len(words)), 0, -1):
        for start in range(len(words) - length, -1, -1):
            name = " ".join(words[start : start + length])
            main = next((BOTTOM_WORDS[form] for form in (name, name.removesuffix("s")) if form in BOTTOM_WORDS), None)
            if main is not None:
                return _tinged(main, words[:start])
    return next((BOTTOM_WORDS[_ADJECTIVES[word]] for word in words if word in _ADJECTIVES), None)


def _tinged(main: tuple[float, float], before: list[str]) -> tuple[float, float]:
    size, sigma = main
    for word in before:
        other = BOTTOM_WORDS.get(_ADJECTIVES.get(word, ""), NOTHING)
        if other[0] == other[0] and size == size:
            size = _MAIN_SHARE * size + (1.0 - _MAIN_SHARE) * other[0]
    return size, sigma


def felt_sigma_phi(text: str) -> float:
    """Error [phi] that the way of feeling adds; an unknown way counts as the usual one."""
    words = re.findall(r"[^\W\d_]+", text.lower())
    forms = [form for word in words for form in (word, word.removesuffix("s"))]
    return min((FELT_SIGMA_PHI[form] for form in forms if form in FELT_SIGMA_PHI), default=UNTOLD_SIGMA_PHI)
