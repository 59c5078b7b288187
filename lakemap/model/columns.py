"""Column names of every table a user may bring, with the spellings that are accepted.

README's table is made from this list. A spelling is compared after lower-casing, with unit words and
everything but letters and digits removed; the unit is taken from the header (``depth_ft``, ``Depth (m)``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Quantity = Literal["angle", "length", "level", "temperature", "time", "word"]


@dataclass(frozen=True)
class TableColumn:
    """One column: its own name, what kind of quantity it holds, accepted spellings, and what it means."""

    name: str
    quantity: Quantity
    spellings: tuple[str, ...]
    meaning: str


LOG_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("time", "time", ("time", "datetime", "timestamp", "timeutc", "utc", "date time", "epoch"),
                "ISO 8601 or seconds since 1970; UTC unless it says otherwise"),
    TableColumn("lat", "angle", ("lat", "latitude", "latdeg", "latitudedeg"), "degrees, north positive"),
    TableColumn("lon", "angle", ("lon", "long", "lng", "longitude", "londeg", "longitudedeg"),
                "degrees, east positive"),
    TableColumn("depth", "length", ("depth", "waterdepth", "bottomdepth", "bathymetry", "sounding"),
                "depth; its unit must be known"),
    TableColumn("second_bottom", "length", ("secondbottom", "secondecho", "2ndbottom", "secondbottomdepth"),
                "where the second bottom starts on the screen, same reference as depth"),
    TableColumn("first_echo_end", "length", ("firstechoend", "firstbottomend"),
                "where the first bottom's tail ends on the screen"),
    TableColumn("second_seen", "word", ("secondseen", "secondbottomseen"),
                "none, faint, strong or third; empty: not noted"),
    TableColumn("first_echo_db", "level", ("firstechodb", "firstecholevel", "firstecholeveldb", "bottomdb"),
                "level [dB]"),
    TableColumn("second_echo_db", "level", ("secondechodb", "secondecholevel", "secondecholeveldb"), "level [dB]"),
    TableColumn("display_range", "length", ("displayrange", "range", "displayedrange", "screenrange"),
                "lower end of the screen"),
    TableColumn("water_temperature", "temperature",
                ("watertemperature", "watertemp", "temp", "temperature", "waterc", "waterf"),
                "degC, or degF if it says so"),
)

MARK_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("lat", "angle", LOG_COLUMNS[1].spellings, "degrees, north positive"),
    TableColumn("lon", "angle", LOG_COLUMNS[2].spellings, "degrees, east positive"),
    TableColumn("kind", "word", ("kind", "type", "what", "symbol", "sym"),
                "stump, rock, brush, weed, bait, fish, catch ..."),
    TableColumn("name", "word", ("name", "waypoint", "title"), "own name for it"),
    TableColumn("note", "word", ("note", "notes", "comment", "description", "desc"), "own words"),
    TableColumn("time", "time", LOG_COLUMNS[0].spellings, "when it was marked"),
)
