"""How files are to be taken where they do not say it themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lakemap.errors import SettingError
from lakemap.limits import Settings, above, one_of
from lakemap.model.columns import LOG_COLUMNS, MARK_COLUMNS

_COLUMN_NAMES = tuple(dict.fromkeys(column.name for column in (*LOG_COLUMNS, *MARK_COLUMNS)))


@dataclass(frozen=True)
class ReadSettings(Settings):
    """``columns``: headers of odd tables, as ``lat=y,lon=x,depth=z``; a table without such a header ignores it.

    ``crs``: CRS of the columns x and y of tables with projected coordinates, by code or WKT; ``timezone``: of times
    in tables that name none, ``+02:00`` or ``Europe/Berlin``.
    """

    depth_unit: str | None = one_of(
        "m", "ft", "fathom", default=None, why="unit of depths in tables and tracks that do not say it"
    )
    depth_from: str | None = one_of(
        "transducer", "surface", "keel", default=None, why="what depths in tables count from where no header says it"
    )
    columns: str = ""
    crs: str | None = None
    timezone: str | None = None
    date_order: str | None = one_of(
        "dmy", "mdy", default=None, why="which number of a date such as 03/04/2025 is the month"
    )
    note_limit_s: float = above(
        0, default=30.0, why="a note and the reading that it speaks of are at most so far apart in time"
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        self.column_headers()

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
