"""GPX 1.1 tracks whose points carry a depth in their extensions."""

from __future__ import annotations

from typing import Any, ClassVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.model.log_facts import NOT_SAID, DepthReference, LogFacts
from lakemap.model.soundings import Soundings
from lakemap.read.gpx import GpxPoint, gpx_contents, gpx_points
from lakemap.read.places import checked_places
from lakemap.read.reader import PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table_columns import Header
from lakemap.read.table_text import numbers
from lakemap.read.times import iso_times
from lakemap.units import celsius_from_fahrenheit, to_metres

Floats = NDArray[np.float64]
REFERENCES: tuple[DepthReference, ...] = ("transducer", "surface", "keel")


class GpxTrackReader(Reader):
    """One row a track point; those without a depth stay as rows without one."""

    name: ClassVar[str] = "GPX track"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".gpx",)
    summary: ClassVar[str] = "track points with a depth in their extensions, metres unless it says otherwise"

    def likelihood(self, source: Source) -> float:
        """Sure for tracks with depths; perhaps for tracks alone, so that the fault can be named."""
        found = gpx_contents(source)
        if found.track_points and found.depths:
            return SURE
        return PERHAPS if found.track_points and not found.waypoints else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """Rows in file order. Raises InputError where no point has a depth."""
        points = list(gpx_points(source, "trkpt"))
        header = next((point.extras["depth"][0] for point in points if "depth" in point.extras), None)
        if header is None:
            raise InputError(f"{source.name}: no track point has a depth in its extensions; give the log itself")
        row = np.arange(1, len(points) + 1, dtype=np.int64)
        unit = header.unit or settings.depth_unit or "m"
        depth_m = to_metres(_extra(points, "depth", source.name), unit)
        lat, lon, said = checked_places(
            numbers(pd.Series([p.lat for p in points], dtype=str), source.name, "lat"),
            numbers(pd.Series([p.lon for p in points], dtype=str), source.name, "lon"), row, source.name,
        )
        times = iso_times(pd.Series([p.texts.get("time", "") for p in points], dtype=str))
        reference, origin = _reference(header, settings)
        facts = LogFacts(
            name=source.name, sha256=source.sha256, reader=self.name, rows_in=len(points), depth_reference=reference,
            depth_unit=unit, has_time=times.has_time, has_date=times.has_date, origins={"depth_reference": origin},
        )
        rows = Soundings.build(
            len(points), [facts], [*said, *_said(source.name, header, unit, settings, facts)], time_s=times.time_s,
            time_utc=times.time_utc, row=row, lat_deg=lat, lon_deg=lon, logged_depth_m=depth_m,
            water_c=_extra(points, "water_temperature", source.name),
        )
        return rows.with_flag(Flag.no_position, np.isnan(lon)).with_flag(Flag.no_depth, np.isnan(depth_m))


def _extra(points: list[GpxPoint], name: str, file: str) -> Floats:
    """One reading of all points (n,), NaN where a point has none; degF is converted."""
    nothing: tuple[Any, str] = (None, "")
    said = [point.extras.get(name, nothing) for point in points]
    values = numbers(pd.Series([text for _, text in said], dtype=str), file, name)
    if any(header is not None and header.fahrenheit for header, _ in said):
        return celsius_from_fahrenheit(values)
    return values


def _reference(header: Header, settings: ReadSettings) -> tuple[DepthReference, str]:
    if header.reference:
        return header.reference, "name of the extension"
    chosen = next((word for word in REFERENCES if word == settings.depth_from), None)
    return (chosen, "--depth-from") if chosen else ("surface", NOT_SAID)


def _said(name: str, header: Header, unit: str, settings: ReadSettings, facts: LogFacts) -> list[str]:
    said = []
    if not header.unit and not settings.depth_unit:
        said.append(f"{name}: depths are taken as {unit}, GPX being metric; else say --depth-unit ft")
    if facts.origins["depth_reference"] == NOT_SAID:
        said.append(f"{name}: nothing says what its depths count from; taken as from the surface, "
                    "else say --depth-from transducer")
    if not facts.has_time:
        said.append(f"{name}: no time in it; rows keep their order")
    return said
