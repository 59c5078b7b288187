"""Signal K logs: each depth of one path and source becomes a row, placed by the fixes around it in time."""

from __future__ import annotations

import re
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.model.log_facts import DepthReference, LogFacts
from lakemap.model.soundings import Soundings
from lakemap.read.nmea_fixes import fix_line
from lakemap.read.places import checked_places
from lakemap.read.reader import LIKELY, PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.signalk_deltas import (
    DEPTHS,
    DRAFT,
    HEADING_MAGNETIC,
    HEADING_TRUE,
    KEEL,
    OWN,
    POSITION,
    SURFACE,
    TO_KEEL,
    TRANSDUCER,
    VARIATION,
    WATER,
    Deltas,
    Key,
    Series,
    gather_deltas,
)
from lakemap.read.source import Source
from lakemap.units import plural

Floats = NDArray[np.float64]

REFERENCES: dict[str, DepthReference] = {TRANSDUCER: "transducer", SURFACE: "surface", KEEL: "keel"}
KELVIN = 273.15
HEADING_AGE_S, VARIATION_AGE_S, WATER_AGE_S = 5.0, 3600.0, 600.0
"""How long a value is taken to hold: a boat turns within seconds, water changes along the way."""
LARGEST_OFFSET_M = 20.0
"""Beyond this no transducer of a boat lies below the surface or above the keel."""
_UPDATES = re.compile(rb'"updates"\s*:\s*\[')
_DEPTH = re.compile(rb'"path"\s*:\s*"environment\.depth\.below')
_PATH = re.compile(rb'"path"\s*:\s*"(?:environment|navigation)\.')


class SignalKReader(Reader):
    """Delta messages, one a line, as servers log them; those of other vessels and of other paths are passed over."""

    name: ClassVar[str] = "Signal K log"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".jsonl", ".ndjson", ".json", ".log")
    summary: ClassVar[str] = "delta messages, one a line: position, depth, heading, water temperature"

    def likelihood(self, source: Source) -> float:
        """By the members that every delta has, and by paths of depth among the first."""
        if not _UPDATES.search(source.head):
            return 0.0
        if _DEPTH.search(source.head):
            return SURE
        return LIKELY if _PATH.search(source.head) else PERHAPS

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """One row a depth of the path and source that carry most, by time. Raises InputError without any depth."""
        with source.open() as file:
            deltas = gather_deltas(file)
        chosen = _chosen(deltas, source.name)
        depths = deltas.series[chosen]
        time_s, has_time = _times(depths)
        order = np.argsort(time_s, kind="stable")
        time_s, depth_m, line = time_s[order], np.array(depths.value)[order], np.array(depths.line)[order]
        depth_m[depth_m < 0] = np.nan
        lon, lat, said = _places(deltas, chosen[0], time_s, line, source.name)
        facts = _facts(source, deltas, chosen, len(line), has_time)
        rows = Soundings.build(
            len(line), [facts], [*_messages(source.name, deltas, chosen), *said], time_s=time_s,
            time_utc=_utc(time_s) if has_time else np.full(len(line), "NaT", "datetime64[ms]"), row=line,
            lon_deg=lon, lat_deg=lat, logged_depth_m=depth_m, heading_deg=_heading_deg(deltas, chosen[0], time_s),
            water_c=_water_c(deltas, chosen[0], time_s),
        )
        return rows.with_flag(Flag.no_position, np.isnan(lon)).with_flag(Flag.no_depth, np.isnan(depth_m))


def _chosen(deltas: Deltas, name: str) -> Key:
    """Vessel, path and source of the depths: this boat's, the path nearest to the transducer that has at least half
    as many as the fullest (servers work out the others from it), and its fullest source."""
    depths = {key: _known(series) for key, series in deltas.series.items() if key[1] in DEPTHS and _known(series)}
    if not depths:
        raise InputError(f"{name}: no depth in it (environment.depth.below...); log the sounder's values too")
    own = [vessel for vessel in (deltas.own, OWN) if any(key[0] == vessel for key in depths)]
    vessel = own[0] if own else min({key[0] for key in depths}, key=lambda v: (-_count(depths, 0, v), v))
    depths = {key: count for key, count in depths.items() if key[0] == vessel}
    most = max(_count(depths, 1, path) for path in DEPTHS)
    path = next(path for path in DEPTHS if 2 * _count(depths, 1, path) >= most)
    return min((key for key in depths if key[1] == path), key=lambda key: (-depths[key], key))


def _count(depths: dict[Key, int], part: int, word: str) -> int:
    return sum(count for key, count in depths.items() if key[part] == word)


def _known(series: Series) -> int:
    return int(np.isfinite(np.array(series.value)).sum())


def _fullest(deltas: Deltas, vessel: str, path: str) -> Series | None:
    """The series of a path whose source said most; two receivers taking turns would put their distance into it."""
    keys = [key for key in deltas.series if key[:2] == (vessel, path) and _known(deltas.series[key])]
    best = min(keys, key=lambda key: (-_known(deltas.series[key]), key), default=None)
    return None if best is None else deltas.series[best]


def _times(series: Series) -> tuple[Floats, bool]:
    """Times of a series; the line number in it where the log has none at all."""
    time_s = np.array(series.time_s)
    known = np.isfinite(time_s)
    if not known.any():
        return np.array(series.line, np.float64), False
    first = time_s[known][0]
    return np.where(known, time_s, first), True


def _places(
    deltas: Deltas, vessel: str, time_s: Floats, line: NDArray[np.int64], name: str
) -> tuple[Floats, Floats, list[str]]:
    fixes = _fullest(deltas, vessel, POSITION)
    if fixes is None:
        raise InputError(f"{name}: no position in it ({POSITION}); log the receiver's values too")
    at, timed = _times(fixes)
    lat, lon, said = checked_places(np.array(fixes.value), np.array(fixes.other), np.array(fixes.line), name)
    good = np.isfinite(lon)
    gap = {} if timed else {"gap_s": np.inf}
    track = fix_line(at[good], np.zeros(int(good.sum()), np.int64), lon[good], lat[good], **gap)
    east, north = track.places(time_s)
    return east, north, said


def _latest(series: Series | None, time_s: Floats, age_s: float) -> Floats:
    """The last value said at or before each time, NaN where it is older than ``age_s``."""
    if series is None:
        return np.full(len(time_s), np.nan)
    at, value = _times(series)[0], np.array(series.value)
    order = np.argsort(at, kind="stable")
    order = order[np.isfinite(value[order])]
    at, value = np.append(-np.inf, at[order]), np.append(np.nan, value[order])
    last = np.searchsorted(at, time_s, side="right") - 1
    return np.asarray(np.where(time_s - at[last] <= age_s, value[last], np.nan))


def _heading_deg(deltas: Deltas, vessel: str, time_s: Floats) -> Floats:
    """True heading, or the magnetic one with its variation; NaN where neither is said."""
    magnetic = _latest(_fullest(deltas, vessel, HEADING_MAGNETIC), time_s, HEADING_AGE_S)
    magnetic = magnetic + _latest(_fullest(deltas, vessel, VARIATION), time_s, VARIATION_AGE_S)
    true = _latest(_fullest(deltas, vessel, HEADING_TRUE), time_s, HEADING_AGE_S)
    heading = np.where(np.isfinite(true), true, magnetic)
    heading[np.abs(heading) > 4 * np.pi] = np.nan
    return np.asarray(np.degrees(heading) % 360.0)


def _water_c(deltas: Deltas, vessel: str, time_s: Floats) -> Floats:
    kelvin = _latest(_fullest(deltas, vessel, WATER), time_s, WATER_AGE_S)
    return np.where((kelvin > KELVIN - 5) & (kelvin < KELVIN + 60), kelvin - KELVIN, np.nan)


def _offset_m(deltas: Deltas, vessel: str, path: str) -> float | None:
    """What a log says of its transducer's place: the value said most often; None for none that can be."""
    series = _fullest(deltas, vessel, path)
    said = np.abs(np.array(series.value)) if series is not None else np.empty(0)
    values, counts = np.unique(said[said <= LARGEST_OFFSET_M], return_counts=True)
    return float(values[counts.argmax()]) if len(values) else None


def _facts(source: Source, deltas: Deltas, chosen: Key, count: int, has_time: bool) -> LogFacts:
    vessel, path, _ = chosen
    draft, to_keel = _offset_m(deltas, vessel, DRAFT), _offset_m(deltas, vessel, TO_KEEL)
    known: dict[str, Any] = {"draft_m" if path != SURFACE else "included_draft_m": draft}
    if path == KEEL and to_keel is not None:
        known["datum_offset_m"] = -to_keel
    known |= {"has_time": has_time, "has_date": has_time}
    origins = {"depth_reference": path, "depth_unit": "the specification"}
    paths = {"draft_m": DRAFT, "included_draft_m": DRAFT, "datum_offset_m": TO_KEEL}
    origins |= {fact: paths[fact] for fact, value in known.items() if fact in paths and value is not None}
    return LogFacts(
        name=source.name, sha256=source.sha256, reader=SignalKReader.name, rows_in=count,
        depth_reference=REFERENCES[path], depth_unit="m", origins=origins, **known,
    )


def _utc(time_s: Floats) -> Any:
    return np.round(time_s * 1000.0).astype(np.int64).astype("datetime64[ms]")


def _messages(name: str, deltas: Deltas, chosen: Key) -> list[str]:
    others = [
        f"{path.rpartition('.')[2]} of {source or 'no name'} ({_known(series)})"
        for (vessel, path, source), series in sorted(deltas.series.items())
        if vessel == chosen[0] and path in DEPTHS and (vessel, path, source) != chosen
    ]
    said = [f"{name}: depths from {chosen[1]} of source {chosen[2] or 'without name'}"
            + (f"; left out, never mixed: {', '.join(others)}" if others else "")]
    if others_at := len({key[0] for key in deltas.series} - {chosen[0]}):
        said.append(f"{name}: positions of {plural(others_at, 'other vessel')} in it, not read")
    if broken := deltas.counts["no JSON"]:
        said.append(f"{name}: {plural(broken, 'line')} not read, no JSON of a message")
    if untimed := deltas.counts["without time"]:
        said.append(f"{name}: {plural(untimed, 'message')} without a time, taken at that of the message before")
    return said
