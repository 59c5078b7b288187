"""Lists of spots put together."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np

from lakemap.model.spots import Spots


def joined(parts: Sequence[Spots]) -> Spots:
    """All spots of several lists, in the order given; parts of scores are left out (they are not made yet)."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return Spots.empty()
    columns: dict[str, Any] = {}
    for spec in dataclasses.fields(Spots):
        values = [getattr(part, spec.name) for part in parts]
        if spec.name == "score_parts":
            continue
        columns[spec.name] = sum(values, ()) if isinstance(values[0], tuple) else np.concatenate(values)
    return Spots(**columns)
