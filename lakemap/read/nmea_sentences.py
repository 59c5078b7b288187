"""NMEA 0183: gathers from a whole log its fixes, depths, courses and temperatures, each with its place in the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from lakemap.read.nmea_fields import (
    NAN,
    Fields,
    course_deg,
    number,
    read_dpt,
    read_gga,
    read_gll,
    read_rmc,
    read_three_units,
    read_zda,
)
from lakemap.read.nmea_framing import ADDRESS_LENGTH, BAD, GOOD, NO_CHECKSUM, Framed, frame, kind_code

CHUNK_BYTES = 1 << 23
LONGEST_WITHOUT_LINE_END = 1 << 20
"""Binary junk without a line end is cut here, so that memory stays bounded."""

FIXES: dict[bytes, Callable[[Fields], tuple[float, float, float, float]]] = {
    b"RMC": read_rmc, b"GGA": read_gga, b"GLL": read_gll, b"ZDA": read_zda,
}
DEPTHS: dict[bytes, Callable[[Fields], tuple[float, float, bool]]] = {
    b"DPT": read_dpt, b"DBT": read_three_units, b"DBS": read_three_units, b"DBK": read_three_units,
}
COURSE_FIELD = {b"HDT": 0, b"RMC": 7, b"VTG": 0}
"""Where a course or true heading stands; the first of these kinds that says anything is taken for the whole log."""
WATER = b"MTW"
KNOWN = (*FIXES, *DEPTHS, b"HDT", b"VTG", WATER)
_CODES = {kind_code(kind): kind for kind in KNOWN}
_KIND_OF_FIX = {kind: index for index, kind in enumerate(FIXES)}
_MORE_FIELDS = [b""] * 13


@dataclass
class DepthLines:
    """Sentences of one talker and kind: where they stand, line number from 1, depth and offset [m]."""

    at: list[int] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    depth_m: list[float] = field(default_factory=list)
    offset_m: list[float] = field(default_factory=list)
    in_feet: int = 0

    def add(self, at: int, line: int, reading: tuple[float, float, bool]) -> None:
        """One more sentence."""
        self.at.append(at)
        self.line.append(line)
        self.depth_m.append(reading[0])
        self.offset_m.append(reading[1])
        self.in_feet += reading[2]

    @property
    def with_depth(self) -> int:
        """How many carry a depth."""
        return int(np.isfinite(self.depth_m).sum())


@dataclass
class Gathered:
    """All that one log says. ``at`` is a byte's place in the file, so everything can be put in order.

    ``fixes`` rows: at, kind (place in FIXES), seconds since midnight, day number, lon, lat; NaN where not said.
    ``courses`` and ``water`` rows: at, value. ``failed_fixes``: at, of fixes that failed the checksum.
    ``least_commas``: kind code -> fewest commas of its sentences whose checksum is right.
    """

    fixes: list[tuple[float, ...]] = field(default_factory=list)
    depths: dict[str, DepthLines] = field(default_factory=dict)
    courses: dict[bytes, list[tuple[int, float]]] = field(default_factory=lambda: {kind: [] for kind in COURSE_FIELD})
    water: list[tuple[int, float]] = field(default_factory=list)
    failed_fixes: list[int] = field(default_factory=list)
    failed_lines: list[int] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    least_commas: dict[int, int] = field(default_factory=dict)


def gather(file: BinaryIO) -> Gathered:
    """Read a whole log, chunk by chunk; any bytes whatever are survived."""
    out, offset, line = Gathered(), 0, 1
    for chunk in _chunks(file):
        framed = frame(chunk)
        _take(framed, offset, line, out)
        offset += len(chunk)
        line += framed.lines
    return out


def count_known(head: bytes) -> int:
    """How many sentences of a known kind, whose checksum does not fail, some bytes hold."""
    framed = frame(head)
    return int(np.count_nonzero(np.isin(framed.kind, list(_CODES)) & (framed.checksum != BAD)))


def _chunks(file: BinaryIO) -> Iterator[bytes]:
    """The file in pieces that end at a line end."""
    rest = b""
    while block := file.read(CHUNK_BYTES):
        rest += block
        cut = max(rest.rfind(b"\n"), rest.rfind(b"\r") if b"\n" not in rest else -1) + 1
        if cut == 0 and len(rest) > LONGEST_WITHOUT_LINE_END:
            cut = len(rest)
        if cut:
            yield rest[:cut]
            rest = rest[cut:]
    if rest:
        yield rest


def _take(framed: Framed, offset: int, line: int, out: Gathered) -> None:
    known = np.flatnonzero(np.isin(framed.kind, list(_CODES)))
    accepted = _accepted(framed, out.least_commas)
    state = framed.checksum
    out.counts["failed"] += int(np.count_nonzero(state[known] == BAD))
    out.counts["cut short"] += int(np.count_nonzero((state[known] == NO_CHECKSUM) & ~accepted[known]))
    out.counts["without checksum"] += int(np.count_nonzero((state[known] == NO_CHECKSUM) & accepted[known]))
    out.failed_lines += (framed.line[known[~accepted[known]]][:1] + line).tolist()
    data = framed.data
    rows = zip(
        framed.start[known].tolist(), framed.end[known].tolist(), framed.line[known].tolist(),
        framed.kind[known].tolist(), accepted[known].tolist(), strict=True,
    )
    for start, end, line_number, code, good in rows:
        kind = _CODES[code]
        if good:
            fields = data[start + ADDRESS_LENGTH + 1 : end].split(b",") + _MORE_FIELDS
            _file_away(kind, data[start : start + ADDRESS_LENGTH], fields, (start + offset, line_number + line), out)
        elif kind in DEPTHS:
            address = data[start : start + ADDRESS_LENGTH].decode("ascii")
            out.depths.setdefault(address, DepthLines()).add(start + offset, line_number + line, (NAN, NAN, False))
        elif kind in FIXES:
            out.failed_fixes.append(start + offset)


def _accepted(framed: Framed, least_commas: dict[int, int]) -> NDArray[np.bool_]:
    """Checksum right; or none written and no fewer fields than the kind's sentences with a checksum have so far.

    A sentence cut short (a full card, a pulled plug) has lost both its checksum and fields.
    """
    good = framed.checksum == GOOD
    accepted = good.copy()
    for code in _CODES:
        of_kind = framed.kind == code
        if (of_kind & good).any():
            here = int(framed.commas[of_kind & good].min())
            least_commas[code] = min(here, least_commas.get(code, here))
        accepted |= of_kind & (framed.checksum == NO_CHECKSUM) & (framed.commas >= least_commas.get(code, 0))
    return np.asarray(accepted)


def _file_away(kind: bytes, address: bytes, fields: Fields, where: tuple[int, int], out: Gathered) -> None:
    at, line = where
    if kind in FIXES:
        fix = FIXES[kind](fields)
        out.fixes.append((at, _KIND_OF_FIX[kind], *fix))
        if fix[2] != fix[2] and kind != b"ZDA":
            out.counts["void"] += 1
    elif kind in DEPTHS:
        out.depths.setdefault(address.decode("ascii"), DepthLines()).add(at, line, DEPTHS[kind](fields))
    elif kind == WATER:
        out.water.append((at, number(fields[0])))
    if kind in COURSE_FIELD:
        out.courses[kind].append((at, course_deg(fields[COURSE_FIELD[kind]])))
