"""Which length unit the results are written in."""

from __future__ import annotations

from collections import Counter

from lakemap.model.soundings import Soundings
from lakemap.publish.settings import PublishSettings


def choose_unit(soundings: Soundings, settings: PublishSettings) -> str:
    """``m`` or ``ft``: what the settings say, else the unit in which most rows came; fathoms count as feet."""
    if settings.units is not None:
        return settings.units
    rows: Counter[str] = Counter()
    for facts in soundings.logs:
        rows["m" if facts.depth_unit == "m" else "ft"] += facts.rows_in
    return "ft" if rows["ft"] > rows["m"] else "m"
