"""NMEA 0183: what the user is told of one log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lakemap.read.kernels import nmea_layout as kind
from lakemap.read.kernels.nmea_layout import BARE, SENTENCES, TAGS_FAILED, WRONG, Book
from lakemap.read.nmea_plan import DAY_2000, GIVEN, IN_SENTENCES, IN_TAGS, Chosen, depth_names
from lakemap.units import plural

if TYPE_CHECKING:
    from lakemap.read.kernels.nmea_survey import Survey

BELOW = {"DBT": "below the transducer", "DPT": "below the transducer", "DBS": "below the surface",
         "DBK": "below the keel"}


@dataclass(frozen=True)
class ReadLog:
    """One log as read: its name, book, survey and choices, and how often its clock ran back (first in which line), or
    was taken on to the next day."""

    name: str
    book: Book
    survey: Survey
    chosen: Chosen
    backwards: int
    back_line: int
    restarts: int


def messages(log: ReadLog) -> list[str]:
    """One line for each thing that was chosen, assumed or left out."""
    said = [_of_depths(log), *_of_offsets(log), *_of_time(log), *_of_dates(log), *_of_headings(log), *_of_faults(log)]
    return [f"{log.name}: {text}" for text in said]


def _of_depths(log: ReadLog) -> str:
    address, others = log.chosen.names[log.chosen.depth], depth_names(log.chosen)
    total, wrong = int(log.book.counts[SENTENCES]), int(log.book.counts[WRONG])
    return (f"depths from {address}, which counts {BELOW[address[2:]]}"
            + (f"; left out, never mixed: {', '.join(others)}" if others else "")
            + f" ({plural(total, 'sentence')} in all, {wrong} with a wrong checksum)")


def _of_offsets(log: ReadLog) -> list[str]:
    offsets = log.survey.offset[log.chosen.depth]
    offsets = offsets[np.isfinite(offsets)]
    if len(offsets) < 2:
        return []
    listed = ", ".join(f"{value:g} m" for value in offsets)
    return [f"DPT tells {len(offsets)} offsets ({listed}); the depth below the transducer is taken, and the "
            "offset that most sentences tell"]


def _of_time(log: ReadLog) -> list[str]:
    chosen, said = log.chosen, []
    if chosen.mode == kind.BY_COUNT:
        return ["no time in it; rows keep their order and places are spaced evenly between fixes"]
    if chosen.mode == kind.BY_TAG:
        said.append("no time in its sentences; taken from their TAG blocks")
    elif not chosen.dates.source:
        said.append("no date in it; times run on from its first midnight; --date gives the day of its first row")
    if log.restarts:
        said.append(f"its clock starts anew {plural(log.restarts, 'time')} (first in line {log.back_line}) and no date "
                    "tells when: taken as the next day each time")
    elif log.backwards:
        said.append(f"time runs backwards {plural(log.backwards, 'time')} (first in line {log.back_line}); times are "
                    "kept as written and nothing is interpolated across")
    return said


def _of_dates(log: ReadLog) -> list[str]:
    dates, said = log.chosen.dates, []
    if dates.source == GIVEN:
        said.append(f"no date in it; its first day is {np.datetime64(int(dates.base[0]), 'D')} as given")
    elif dates.source == IN_TAGS and log.survey.counts[:, _timed()].any():
        said.append("no date in its sentences; taken from their TAG blocks")
    if dates.early:
        said.append(f"{plural(dates.early, 'date')} lay {dates.early_weeks} weeks too early, a week rollover of the "
                    "receiver, and moved on by that")
    elif dates.source == IN_SENTENCES and dates.base[0] < DAY_2000:
        first = np.datetime64(int(dates.base[0]), "D")
        said.append(f"its dates begin with {first}; a receiver past its week rollover writes 1024 weeks too early: if "
                    f"that is so, give --date {first + 7168}")
    return said


def _timed() -> int:
    from lakemap.read.kernels.nmea_survey import TIMED

    return TIMED


def _of_headings(log: ReadLog) -> list[str]:
    from lakemap.read.kernels.nmea_survey import WITH

    chosen = log.chosen
    if chosen.heading >= 0:
        return [f"headings from {chosen.names[chosen.heading]}"]
    magnetic = [
        name for slot, name in enumerate(chosen.names)
        if kind.kind_of(name) in (kind.HDG, kind.HDM) and chosen.counts[slot, WITH]
    ]
    if not magnetic:
        return []
    return [f"headings of {', '.join(magnetic)} are magnetic and nothing tells the variation: not used"]


def _of_faults(log: ReadLog) -> list[str]:
    from lakemap.read.kernels.nmea_survey import VOID

    count, said = log.chosen.counts, []
    if not_used := int(count[:, BARE + 1 : 4].sum()):
        said.append(f"{plural(not_used, 'sentence')} not used, checksum wrong or cut short "
                    f"(first in line {log.survey.clock[0]['first_fault']})")
    if bare := int(count[:, BARE].sum()):
        said.append(f"{plural(bare, 'sentence')} without checksum, taken as written")
    if void := int(count[:, VOID].sum()):
        said.append(f"{plural(void, 'sentence')} said that there was no fix")
    if tags := int(log.book.counts[TAGS_FAILED]):
        said.append(f"{plural(tags, 'TAG block')} not used, checksum wrong")
    return said
