"""Numbers and names as people read them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from lakemap.model.soundings import Soundings
from lakemap.units import from_metres

_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Everything that XML 1.0 does not allow as a character (section 2.2), lone surrogates too."""
LEAST_WRITTEN = 1e-4
"""Smaller numbers than this say no more to a reader than that they are near nothing."""


def depth_label(depth_m: float, unit: str) -> str:
    """A depth on a line of the map: as few decimals as it needs, two at most: ``15 ft``, ``2.5 m``."""
    return f"{round(from_metres(depth_m, unit), 2) + 0.0:g} {unit}"


def length(value_m: Any, unit: str, decimals: int = 2) -> str:
    """A length without its unit, for a column whose head names it; a dash where it is not known."""
    if value_m is None or not np.isfinite(value_m):
        return "–"
    return f"{round(from_metres(float(value_m), unit), decimals) + 0.0:.{decimals}f}"


def about(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits, without exponent, thousands set apart: ``4,090``; a dash for none."""
    if value is None or not math.isfinite(value):
        return "–"
    if 0.0 < abs(value) < LEAST_WRITTEN:
        return f"under {LEAST_WRITTEN:.4f}"
    exponent = math.floor(math.log10(abs(value))) if value else 0
    rounded = round(value, digits - 1 - exponent)
    text = f"{rounded:,.{max(digits - 1 - exponent, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def spaced(name: str) -> str:
    """A name of files and columns as a reader's words: ``water_temperature`` is ``water temperature``."""
    return name.replace("_", " ")


def common_error(soundings: Soundings, unit: str) -> str:
    """What all depths share and sigma leaves out, in words: an offset in ``unit`` and a share of the depth."""
    return (
        f"standard error {from_metres(soundings.common_offset_m, unit):.3g} {unit} and "
        f"{100 * soundings.common_scale:.3g} % of depth, the same for all depths, not in sigma"
    )


def printable(text: str) -> str:
    """Text that XML and HTML can hold: other characters become U+FFFD."""
    return _NOT_IN_XML.sub("\ufffd", text)


def s44_line(met: Mapping[str, Any]) -> str:
    """Crossovers beside the orders of S-44, in one sentence; ``met`` as in summary.json."""
    kept = [name for name, share in met["within_s44"].items() if share >= 0.95]
    shares = ", ".join(f"{name} {share:.0%}" for name, share in met["within_s44"].items())
    best = f"the strictest that 95 % keep is {kept[0]}" if kept else "no order is kept by 95 %"
    return (f"Beside the international orders of surveying (IHO S-44), as a yardstick only: within what two depths of "
            f"an order may differ by lie {shares}; {best}. Agreement shows what passes do not share: no common error, "
            "and no survey of that order.")


def closed_words(first: str, last: str, why: str) -> str:
    """``closed 04-01 to 05-31: spawning``."""
    when = f"from {first}" if first and not last else f"until {last}" if last and not first else f"{first} to {last}"
    return printable(" ".join(("closed", when if first or last else "always")) + (f": {why}" if why else ""))
