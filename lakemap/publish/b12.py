"""IHO B-12 files out of a map's readings: GeoJSON, or CSV with its metadata beside it.

The standard wants readings as the sounder gave them, with what is needed to correct them said beside: so depths are the
logged ones, never the corrected, and positions are the receiver's. Rows held out for a fault are not given on.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from lakemap.errors import NothingUsable, UsageError
from lakemap.model.b12 import DEGREE_DECIMALS, DEPTH_DECIMALS, B12About, B12Readings
from lakemap.model.soundings import Soundings
from lakemap.publish.commit import OutputFolder

VERTICAL = {"transducer": "Transducer"}
"""What the standard knows of a vertical reference (table 1); all others are Unknown to it."""


def b12_readings(soundings: Soundings, reference: str | None = None) -> B12Readings:
    """Rows with time, place and a depth as logged, in order of time; ``reference`` chooses among logs that differ.

    Raises UsageError where logs count from different references and none is chosen, NothingUsable without any row.
    """
    codes = {facts.depth_reference for facts in soundings.logs}
    if reference is None and len(codes) > 1:
        raise UsageError(f"logs count their depths from {' and '.join(sorted(codes))}, and a B-12 file has one "
                         f"reference; choose with --depth-from {sorted(codes)[-1]}")
    wanted = reference or next(iter(codes), "surface")
    of_log = np.array([facts.depth_reference == wanted for facts in soundings.logs] or [False])
    timed, usable = ~np.isnat(soundings.time_utc), soundings.usable()
    depth_m = np.round(soundings.logged_depth_m, DEPTH_DECIMALS)
    chosen = of_log[soundings.log] if len(soundings) else np.zeros(0, bool)
    deep = (depth_m > 0) & np.isfinite(soundings.lon_deg)
    good = chosen & timed & usable & deep
    left_out = {
        "other depth reference": int((~chosen).sum()), "no date and time": int((chosen & ~timed).sum()),
        "held out": int((chosen & timed & ~usable).sum()),
        "no depth above 0": int((chosen & timed & usable & ~deep).sum()),
    }
    left_out = {reason: count for reason, count in left_out.items() if count}
    if not good.any():
        said = ", ".join(f"{count} with {reason}" for reason, count in left_out.items())
        raise NothingUsable(f"no timed reading below the {wanted} among {len(soundings)} rows ({said}); B-12 takes "
                            "timed rows only, say the date of a log with --date")
    rows = np.flatnonzero(good)
    rows = rows[np.lexsort((rows, soundings.time_utc[rows]))]
    drafts = {facts.draft_m for code, facts in enumerate(soundings.logs) if code in set(soundings.log[rows].tolist())}
    return B12Readings(
        soundings.lon_deg[rows], soundings.lat_deg[rows], soundings.logged_depth_m[rows], soundings.time_utc[rows],
        wanted, drafts.pop() if len(drafts) == 1 else None, left_out,
    )


def write_b12(readings: B12Readings, about: B12About, path: Path) -> None:
    """GeoJSON, or CSV (by the ending) and the metadata beside it as JSON. Raises UsageError, OutputError."""
    out = OutputFolder(path.parent)
    ending = path.suffix.lower()
    if ending in (".geojson", ".json"):
        out.put_bytes(path.name, b12_geojson(readings, about).encode())
    elif ending == ".csv":
        out.put_bytes(path.name, b12_csv(readings).encode())
        metadata = json.dumps(b12_metadata(readings, about, "XYZ"), indent=1, ensure_ascii=False) + "\n"
        out.put_bytes(path.with_suffix(".json").name, metadata.encode())
    else:
        raise UsageError(f"--b12 {path}: B-12 comes as .geojson or .csv; choose one of these endings")


def b12_metadata(readings: B12Readings, about: B12About, form: str) -> dict[str, Any]:
    """The members beside the features; ``form`` is GeoJSON or XYZ."""
    horizontal: Any = {"type": "EPSG", "value": 4326} if about.convention == "3.0" else "EPSG:4326"
    platform: dict[str, Any] = {
        "uniqueID": about.platform_id, "name": about.platform_name,
        "correctors": {"positionReferencePoint": "GNSS"}, "dataProcessed": False,
    }
    if readings.draft_m is not None:
        platform["sensors"] = [{"type": "Sounder", "draft": readings.draft_m}]
    return {
        "crs": {"horizontal": horizontal, "vertical": VERTICAL.get(readings.reference, "Unknown")},
        "properties": {
            "convention": f"{form} CSB {about.convention}", "dataLicense": about.licence,
            "providerContactPoint": {
                "orgName": about.organisation, "email": about.email,
                "logger": about.logger, "loggerVersion": about.logger_version,
            },
            "platform": platform,
        },
    }


def b12_geojson(readings: B12Readings, about: B12About) -> str:
    """A FeatureCollection, one reading a line behind the metadata, so that these are met first."""
    metadata = json.dumps(b12_metadata(readings, about, "GeoJSON"), ensure_ascii=False)
    features = ",\n".join(
        f'{{"type": "Feature", "geometry": {{"type": "Point", "coordinates": [{lon}, {lat}]}}, '
        f'"properties": {{"depth": {depth}, "time": "{time}"}}}}'
        for lon, lat, depth, time in _cells(readings)
    )
    return f'{{"type": "FeatureCollection", {metadata[1:-1]}, "features": [\n{features}\n]}}\n'


def b12_csv(readings: B12Readings) -> str:
    """LON,LAT,DEPTH,TIME."""
    return "LON,LAT,DEPTH,TIME\n" + "".join(",".join(cells) + "\n" for cells in _cells(readings))


def _cells(readings: B12Readings) -> list[tuple[str, str, str, str]]:
    """Each reading at the standard's precision."""
    times = np.datetime_as_string(readings.time_utc.astype("datetime64[ms]"), unit="ms").tolist()
    columns = (readings.lon_deg.tolist(), readings.lat_deg.tolist(), readings.depth_m.tolist(), times)
    return [
        (f"{lon:.{DEGREE_DECIMALS}f}", f"{lat:.{DEGREE_DECIMALS}f}", f"{depth:.{DEPTH_DECIMALS}f}", f"{time}Z")
        for lon, lat, depth, time in zip(*columns, strict=True)
    ]
