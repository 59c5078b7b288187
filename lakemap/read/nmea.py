"""NMEA 0183 logs: each depth sentence of one kind becomes a row, its time and place told by the fixes around it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lakemap.model.flags import Flag
from lakemap.model.log_facts import DepthReference, LogFacts
from lakemap.model.soundings import Soundings
from lakemap.read.kernels.nmea_layout import BY_COUNT
from lakemap.read.nmea_messages import ReadLog, messages
from lakemap.read.nmea_plan import Chosen, choose, slot_codes
from lakemap.read.nmea_stream import ENOUGH, Stream, count_known
from lakemap.read.reader import LIKELY, PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

if TYPE_CHECKING:
    from lakemap.read.kernels.nmea_survey import Survey

Floats = NDArray[np.float64]

REFERENCES: dict[str, DepthReference] = {"DBT": "transducer", "DPT": "transducer", "DBS": "surface", "DBK": "keel"}
COLUMNS = {
    "time_s": "time_s", "row": "line", "lon_deg": "lon", "lat_deg": "lat", "logged_depth_m": "depth",
    "heading_deg": "heading", "water_c": "water", "position_sigma_m": "sigma",
}
"""Columns of Soundings and what they are called while a log is placed."""
FEW_SENTENCES = 3
NEAR_ROWS = 6
"""Rows whose rhythm those beyond the first and last time keep."""


class NmeaReader(Reader):
    """Logs as a chart plotter, a recorder or a phone writes them, any talker, junk between lines survived."""

    name: ClassVar[str] = "NMEA 0183 log"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".nmea", ".log", ".txt")
    summary: ClassVar[str] = (
        "fixes from RMC, GGA, GNS, GLL, ZDA; depths from DPT, DBT, DBS or DBK; also HDT, THS, HDG, HDM, VHW, GSA, MTW"
    )

    def likelihood(self, source: Source) -> float:
        """By how many known sentences the head holds, and whether lines start with them."""
        known = count_known(source.head)
        lines = max(1, source.head.count(b"\n"), source.head.count(b"\r"))
        if known >= FEW_SENTENCES and known > min(lines / 50, ENOUGH - 1):
            return SURE
        return LIKELY if known >= FEW_SENTENCES else PERHAPS if known else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """One row for each depth sentence of the kind (and talker) that most depths came in; never a mix.

        A first look at all records chooses, a second one places the rows: memory is that of the rows alone.
        """
        stream = Stream(source)
        survey, events = _survey(stream)
        chosen = choose(survey, stream.book, events, settings, source.name)
        columns, now = _place(stream, chosen)
        backwards, line, restarts = (int(now[name]) for name in ("backwards", "back_line", "restarts"))
        log = ReadLog(source.name, stream.book, survey, chosen, backwards, line, restarts)
        del stream
        return _soundings(columns, _facts(source, log), messages(log))


def _survey(stream: Stream) -> tuple[Survey, Floats]:
    """What the log holds, and the records (e, 2) from which on the day that times count from is another."""
    from lakemap.read.kernels.nmea_survey import Survey, survey

    book, found = Survey.blank(), []
    for records in stream:
        events = np.empty((len(records.line) + 1, 2))
        kinds, _ = slot_codes(stream.book.names())
        found.append(events[: survey(records, kinds, book, events)].copy())
    return book, np.concatenate(found)


def _place(stream: Stream, chosen: Chosen) -> tuple[dict[str, Any], Any]:
    """Columns of the rows with their times and places, and the state in which the log ended."""
    from lakemap.read.kernels.nmea_place import OTHERS, blank_rows, finish, place, settle

    rows, others = blank_rows(chosen.rows), np.empty((OTHERS, 4))
    plan, state = chosen.plan()
    for records in stream:
        place(records, plan, state, rows, others)
    finish(state, rows)
    now = state[0]
    _time_the_ends(rows["time_s"], now)
    settle(rows, now["gap_s"], now["interval_s"])
    return {"flags": _flags(rows), **{ours: rows[theirs].copy() for ours, theirs in COLUMNS.items()}}, now


def _flags(rows: Any) -> NDArray[np.uint32]:
    lost = np.isnan(rows["lon"])
    flags = np.where(lost, np.uint32(Flag.no_position), np.uint32(0))
    flags[np.isnan(rows["depth"])] |= np.uint32(Flag.no_depth)
    flags[lost & (rows["failed"] > 0)] |= np.uint32(Flag.bad_checksum_fix)
    return np.asarray(flags)


def _time_the_ends(time_s: Floats, now: Any) -> None:
    """Rows before the first and behind the last time keep the step of those next to them; without any they count."""
    early, late = int(now["early"]), int(now["untimed"])
    if np.isnan(now["anchor_s"]):
        time_s[:] = np.arange(len(time_s))
        return
    first, last = _usual_step(time_s[early:late][:NEAR_ROWS]), _usual_step(time_s[early:late][-NEAR_ROWS:])
    time_s[:early] = now["first_s"] - first * (np.arange(early, 0, -1) - 0.5)
    time_s[late:] = now["anchor_s"] + last * (np.arange(len(time_s) - late) + 0.5)


def _usual_step(time_s: Floats) -> float:
    step = np.diff(time_s)
    step = step[step > 0]
    return float(np.median(step)) if len(step) else 1.0


def _facts(source: Source, log: ReadLog) -> LogFacts:
    from lakemap.read.kernels.nmea_survey import SECOND

    chosen, slot = log.chosen, log.chosen.depth
    address, offsets = chosen.names[slot], log.survey.offset_count[slot]
    origins = {"depth_reference": f"{address[2:]} sentences of talker {address[:2]}"}
    if offsets.any():
        origins["datum_offset_m"] = "second field of DPT"
    if chosen.dates.source:
        origins["has_date"] = chosen.dates.source
    return LogFacts(
        name=source.name, sha256=source.sha256, reader=NmeaReader.name, rows_in=chosen.rows,
        depth_reference=REFERENCES[address[2:]],
        depth_unit="ft" if chosen.counts[slot, SECOND] * 2 > chosen.rows else "m",
        datum_offset_m=float(log.survey.offset[slot, offsets.argmax()]) if offsets.any() else None,
        has_time=chosen.mode != BY_COUNT, has_date=bool(chosen.dates.source), origins=origins,
    )


def _soundings(columns: dict[str, Any], facts: LogFacts, said: list[str]) -> Soundings:
    n = len(columns["flags"])
    if not facts.has_time:
        columns["time_s"] = np.arange(n, dtype=np.float64)
    if facts.has_date:
        columns["time_utc"] = _utc(columns["time_s"])
    return Soundings.build(n, [facts], said, **columns)


def _utc(time_s: Floats) -> Any:
    return np.round(time_s * 1000.0).astype(np.int64).view("datetime64[ms]")
