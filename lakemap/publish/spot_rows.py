"""Spots as plain rows: the one list of fields that lake.gpkg, spots.geojson and waypoints.csv share."""

from __future__ import annotations

from typing import Any

import numpy as np

from lakemap.model.spots import Spots
from lakemap.publish.wording import printable
from lakemap.units import fill_lengths

DEGREE_DECIMALS = 7
"""0.01 m: finer than any position here, and what plotters keep."""

_DECIMALS = {
    "probability": 3, "prob_low": 3, "prob_high": 3, "lon_deg": DEGREE_DECIMALS, "lat_deg": DEGREE_DECIMALS,
    "position_sigma_m": 2, "depth_m": 3, "depth_sigma_m": 3, "hardness": 3,
}


def spot_rows(spots: Spots, unit: str) -> list[dict[str, Any]]:
    """One row a spot, in their order, fields as in lake.gpkg's layer ``spots``; None where not known.

    Numbers are SI; lengths inside the reasons are written in ``unit``; ``last_seen`` is ISO 8601 in UTC.
    """
    rows = []
    for i in range(len(spots)):
        row: dict[str, Any] = {"name": printable(spots.name[i]), "kind": printable(spots.kind[i])}
        row |= {name: number(getattr(spots, name)[i], decimals) for name, decimals in _DECIMALS.items()}
        row |= {"seen": int(spots.seen[i]), "could_see": int(spots.could_see[i])}
        row |= {"last_seen": utc_text(spots.last_seen[i]), "score": number(spots.score[i], 3)}
        row |= {f"score_{part}": number(spots.score_parts[part][i], 3) for part in sorted(spots.score_parts)}
        row["reasons"] = " ".join(reasons(spots, i, unit))
        rows.append(row)
    return rows


def spot_fields(spots: Spots) -> list[str]:
    """Names of the fields of spot_rows, there even when no spot is."""
    parts = [f"score_{part}" for part in sorted(spots.score_parts)]
    return ["name", "kind", *_DECIMALS, "seen", "could_see", "last_seen", "score", *parts, "reasons"]


def reasons(spots: Spots, i: int, unit: str) -> list[str]:
    """The reasons of spot ``i`` with lengths in ``unit``."""
    return [printable(fill_lengths(said, unit)) for said in spots.reasons[i]] if spots.reasons else []


def number(value: Any, decimals: int) -> float | None:
    """A rounded number, None where it is not known."""
    return round(float(value), decimals) + 0.0 if np.isfinite(value) else None


def utc_text(when: np.datetime64) -> str | None:
    """A time as ``2024-05-29T16:34:10Z``, None where not known."""
    return None if np.isnat(when) else f"{when.astype('datetime64[s]')}Z"
