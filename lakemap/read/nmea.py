"""NMEA 0183 logs: each depth sentence of one kind becomes a row, its time and place told by the fixes around it."""

from __future__ import annotations

from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.model.log_facts import DepthReference, LogFacts
from lakemap.model.soundings import Soundings
from lakemap.read.messages import plural
from lakemap.read.nmea_clock import Clock, counting_clock, running_clock
from lakemap.read.nmea_fixes import FixLine, fix_line
from lakemap.read.nmea_sentences import COURSE_FIELD, DEPTHS, DepthLines, Gathered, count_known, gather
from lakemap.read.reader import LIKELY, PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

Floats = NDArray[np.float64]

REFERENCES: dict[str, tuple[DepthReference, str]] = {
    "DBT": ("transducer", "below the transducer"), "DPT": ("transducer", "below the transducer"),
    "DBS": ("surface", "below the surface"), "DBK": ("keel", "below the keel"),
}
PREFERENCE = tuple(kind.decode() for kind in DEPTHS)
"""Where two kinds carry as many depths the earlier is taken: DPT tells its offset too."""
FEW_SENTENCES = 3


class NmeaReader(Reader):
    """Logs as a chart plotter, a recorder or a phone writes them, any talker, junk between lines survived."""

    name: ClassVar[str] = "NMEA 0183 log"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".nmea", ".log", ".txt")
    summary: ClassVar[str] = "fixes from RMC, GGA, GLL, ZDA; depths from DPT, DBT, DBS or DBK; also VTG, HDT, MTW"

    def likelihood(self, source: Source) -> float:
        """By how many known sentences the head holds, and whether lines start with them."""
        known = count_known(source.head)
        lines = max(1, source.head.count(b"\n"), source.head.count(b"\r"))
        if known >= FEW_SENTENCES and known > lines / 50:
            return SURE
        return LIKELY if known >= FEW_SENTENCES else PERHAPS if known else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """One row for each depth sentence of the kind (and talker) that most depths came in; never a mix."""
        with source.open() as file:
            gathered = gather(file)
        address = _chosen(gathered, source.name)
        lines = gathered.depths[address]
        at, depth_m = np.array(lines.at, np.float64), np.array(lines.depth_m, np.float64)
        fixes = np.array(gathered.fixes, np.float64).reshape(-1, 6)
        clock, line = _clock_and_fixes(fixes)
        time_s = clock.times_of(at) if len(clock.at) else np.arange(len(at), dtype=np.float64)
        lon, lat = line.places(time_s)
        facts = _facts(source, address, lines, clock)
        rows = Soundings.build(
            len(at), [facts], _messages(source.name, address, gathered, facts),
            time_s=time_s if facts.has_time else np.arange(len(at)),
            time_utc=_utc(time_s) if facts.has_date else np.full(len(at), "NaT", "datetime64[ms]"),
            row=lines.line, lon_deg=lon, lat_deg=lat, logged_depth_m=depth_m,
            heading_deg=_latest(_course(gathered), at), water_c=_latest(gathered.water, at),
        )
        lost = np.isnan(lon)
        return (
            rows.with_flag(Flag.no_position, lost).with_flag(Flag.no_depth, np.isnan(depth_m))
            .with_flag(Flag.bad_checksum_fix, lost & _failed_near(at, fixes, gathered.failed_fixes))
        )


def _chosen(gathered: Gathered, name: str) -> str:
    """The talker and kind that carry most depths; ties by PREFERENCE, then by talker."""
    if not gathered.depths:
        raise InputError(f"{name}: no depth sentence in it (DPT, DBT, DBS, DBK); switch the sounder's output on")
    return min(gathered.depths, key=lambda a: (-gathered.depths[a].with_depth, PREFERENCE.index(a[2:]), a))


def _clock_and_fixes(fixes: Floats) -> tuple[Clock, FixLine]:
    """The log's clock, and its fixes on that clock; a fix without a time has that of the anchor before it."""
    at, kind, tod, day, lon, lat = fixes.T
    placed = np.isfinite(lon)
    clock = running_clock(at, tod, day)
    if len(clock.at) == 0:
        clock = counting_clock(at[placed])
    own = np.clip(np.searchsorted(clock.at, at[placed], side="right") - 1, 0, None)
    time_s = clock.time_s[own] if len(clock.at) else np.empty(0)
    gap = {} if clock.has_time else {"gap_s": np.inf}
    return clock, fix_line(time_s, kind[placed].astype(np.int64), lon[placed], lat[placed], **gap)


def _facts(source: Source, address: str, lines: DepthLines, clock: Clock) -> LogFacts:
    offsets = np.array(lines.offset_m, np.float64)
    offsets = offsets[np.isfinite(offsets)]
    values, counts = np.unique(offsets, return_counts=True)
    origins = {"depth_reference": f"{address[2:]} sentences of talker {address[:2]}"}
    if len(values):
        origins["datum_offset_m"] = "second field of DPT"
    return LogFacts(
        name=source.name, sha256=source.sha256, reader=NmeaReader.name, rows_in=len(lines.at),
        depth_reference=REFERENCES[address[2:]][0], depth_unit="ft" if lines.in_feet * 2 > len(lines.at) else "m",
        datum_offset_m=float(values[counts.argmax()]) if len(values) else None,
        has_time=clock.has_time, has_date=clock.has_date, origins=origins,
    )


def _utc(time_s: Floats) -> Any:
    return np.round(time_s * 1000.0).astype(np.int64).astype("datetime64[ms]")


def _course(gathered: Gathered) -> list[tuple[int, float]]:
    said = (gathered.courses[kind] for kind in COURSE_FIELD)
    return next((rows for rows in said if any(value == value for _, value in rows)), [])


def _latest(rows: list[tuple[int, float]], at: Floats) -> Floats:
    """The last value said before each line, NaN before the first."""
    said = np.array(rows, np.float64).reshape(-1, 2)
    said = said[np.isfinite(said[:, 1])]
    values = np.append(np.nan, said[:, 1])
    return np.asarray(values[np.searchsorted(said[:, 0], at)])


def _failed_near(at: Floats, fixes: Floats, failed: list[int]) -> NDArray[np.bool_]:
    """Whether a fix that failed its checksum lies between the good fixes around each line."""
    good = np.concatenate([[-1.0], fixes[np.isfinite(fixes[:, 4]), 0], [np.inf]])
    behind = np.searchsorted(good, at)
    bad = np.array(failed, np.float64)
    return np.asarray(np.searchsorted(bad, good[behind]) > np.searchsorted(bad, good[behind - 1]))


def _messages(name: str, address: str, gathered: Gathered, facts: LogFacts) -> list[str]:
    others = [f"{a} ({lines.with_depth})" for a, lines in sorted(gathered.depths.items()) if a != address]
    counts = gathered.counts
    said = [f"{name}: depths from {address}, which counts {REFERENCES[address[2:]][1]}"
            + (f"; left out, never mixed: {', '.join(others)}" if others else "")]
    if not facts.has_time:
        said.append(f"{name}: no time in it; rows keep their order and places are spaced evenly between fixes")
    elif not facts.has_date:
        said.append(f"{name}: no date in it; times run on from its first midnight")
    if not_used := counts["failed"] + counts["cut short"]:
        said.append(f"{name}: {plural(not_used, 'sentence')} not used, checksum wrong or cut short "
                    f"(first in line {gathered.failed_lines[0]})")
    if counts["without checksum"]:
        said.append(f"{name}: {plural(counts['without checksum'], 'sentence')} without checksum, taken as written")
    if counts["void"]:
        said.append(f"{name}: {plural(counts['void'], 'sentence')} said that there was no fix")
    return said
