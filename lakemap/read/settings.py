"""How files are to be taken where they do not say it themselves."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from lakemap.errors import SettingError
from lakemap.geo.zones import zone_of
from lakemap.limits import Settings, above, one_of
from lakemap.model.columns import (
    CHECK_COLUMNS,
    EDIT_COLUMNS,
    LEVEL_COLUMNS,
    LOG_COLUMNS,
    MARK_COLUMNS,
    PROFILE_COLUMNS,
)
from lakemap.read.moments import moment_s

_COLUMN_NAMES = tuple(dict.fromkeys(column.name for column in (
    *LOG_COLUMNS, *MARK_COLUMNS, *LEVEL_COLUMNS, *PROFILE_COLUMNS, *CHECK_COLUMNS, *EDIT_COLUMNS)))


@dataclass(frozen=True)
class ReadSettings(Settings):
    """``columns``: headers of odd tables, as ``lat=y,lon=x,depth=z``; a table without such a header ignores it.

    ``crs``: CRS of the columns x and y of tables with projected coordinates, by code or WKT; ``timezone``: of times
    in tables that name none, ``+02:00`` or ``Europe/Berlin``. ``date``: of the first row of logs that tell
    times of day alone, ``2025-06-01``. ``talker`` and ``sentence``: which depths of an NMEA log
    to take, else those that most came in. ``area``: a file of polygons, ``since`` and ``until``: dates or times; only
    what lies inside is read further.
    """

    depth_unit: str | None = one_of(
        "m", "ft", "fathom", default=None, why="unit of depths in tables and tracks that do not say it"
    )
    depth_from: str | None = one_of(
        "transducer", "surface", "keel", default=None, why="what depths in tables count from where no header says it"
    )
    columns: str = ""
    date: str | None = None
    crs: str | None = None
    timezone: str | None = None
    date_order: str | None = one_of(
        "dmy", "mdy", default=None, why="which number of a date such as 03/04/2025 is the month"
    )
    talker: str | None = None
    sentence: str | None = one_of(
        "DBT", "DPT", "DBS", "DBK", default=None, why="the depth sentences of NMEA 0183"
    )
    area: str | None = None
    since: str | None = None
    until: str | None = None
    note_limit_s: float = above(
        0, default=30.0, why="a note and the reading that it speaks of are at most so far apart in time"
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        self.column_headers()
        self.span_s()
        self.first_day()
        if self.timezone is not None:
            zone_of(self.timezone)
        if self.crs is not None and not isinstance(self.crs, str):
            raise SettingError(f"[read] crs = {self.crs!r}: must be text, a code such as \"EPSG:32632\" or WKT")
        if self.talker is not None and not re.fullmatch("[A-Z][A-Z0-9]?", str(self.talker)):
            raise SettingError(f"[read] talker = {self.talker!r}: must be two capitals, such as \"SD\"")

    def first_day(self) -> int | None:
        """``date`` as days since 1970. Raises SettingError for what is no date."""
        if self.date is None:
            return None
        try:
            return date.fromisoformat(str(self.date)).toordinal() - date(1970, 1, 1).toordinal()
        except ValueError:
            raise SettingError(f"[read] date = {self.date!r}: must be a day such as 2025-06-01") from None

    def span_s(self) -> tuple[float | None, float | None]:
        """``since`` and ``until`` [s since 1970], None where not given. Raises UsageError for what is no such span."""
        since = None if self.since is None else moment_s(self.since, "since")
        until = None if self.until is None else moment_s(self.until, "until", end=True)
        if since is not None and until is not None and since > until:
            raise SettingError(f"since {self.since} is later than until {self.until}; exchange them")
        return since, until

    def column_headers(self) -> Mapping[str, str]:
        """Our column name -> header as the file has it. Raises SettingError for what is no such list."""
        if not isinstance(self.columns, str):
            raise SettingError(f"[read] columns = {self.columns!r}: must be text such as \"lat=y,lon=x,depth=z\"")
        pairs = [part.partition("=") for part in self.columns.split(",") if part.strip()]
        for name, sign, header in pairs:
            if name.strip() not in _COLUMN_NAMES or not sign or not header.strip():
                raise SettingError(
                    f"[read] columns, {name + sign + header!r}: write name=header with a name out of "
                    f"{', '.join(_COLUMN_NAMES)}; such as lat=y,lon=x,depth=z"
                )
        return {name.strip(): header.strip() for name, _, header in pairs}
