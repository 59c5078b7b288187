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
    TableColumn("gain", "level", ("gain", "gainsetting", "sensitivity"),
                "gain as set by hand while recording; echo levels of each setting are an instrument of their own"),
    TableColumn("x", "length", ("x", "easting", "eastings", "east", "utmx", "utmeasting", "xcoord", "xcoordinate"),
                "easting on the CRS that --crs names, where there is no lon"),
    TableColumn("y", "length", ("y", "northing", "northings", "north", "utmy", "utmnorthing", "ycoord", "ycoordinate"),
                "northing on that CRS"),
    TableColumn("z", "length", ("z",), "depth where no column says depth; negative down is found"),
    TableColumn("date", "time", ("date", "day utc", "date utc"), "date beside a time of day: 2025-06-01, 1.6.2025"),
    TableColumn("year", "time", ("year",), "or the date in three columns"),
    TableColumn("month", "time", ("month",), "1 to 12"),
    TableColumn("day", "time", ("day", "day of month"), "1 to 31"),
    TableColumn("hour", "time", ("hour", "hours"), "and the time of day in up to three"),
    TableColumn("minute", "time", ("minute", "minutes"), "0 to 59"),
    TableColumn("second", "time", ("second", "seconds"), "0 to 60"),
    TableColumn("how", "word", ("how", "method"),
                "single readings: line, pole, ice, ice top or cast; see the page on single readings"),
    TableColumn("depth_error", "length", ("deptherror", "depthsigma", "depthstandarderror"),
                "standard error of each depth"),
    TableColumn("position_error", "length", ("positionerror", "positionsigma", "positionaccuracy", "gpsaccuracy"),
                "standard error of each position"),
    TableColumn("ice_thickness", "length", ("icethickness",), "thickness of the ice at the hole"),
)

MARK_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("lat", "angle", LOG_COLUMNS[1].spellings, "degrees, north positive"),
    TableColumn("lon", "angle", LOG_COLUMNS[2].spellings, "degrees, east positive"),
    TableColumn("kind", "word", ("kind", "type", "what", "symbol", "sym"),
                "stump, rock, brush, weed, bait, fish, catch ...; nothing: looked, nothing there"),
    TableColumn("name", "word", ("name", "waypoint", "title"), "own name for it"),
    TableColumn("note", "word", ("note", "notes", "comment", "description", "desc"), "own words"),
    TableColumn("time", "time", LOG_COLUMNS[0].spellings, "when it was marked"),
    TableColumn("range", "length", ("range", "distance", "away"), "how far from the boat it was aimed at"),
    TableColumn("bearing", "angle", ("bearing", "azimuth"), "degrees from true north, boat to mark"),
    TableColumn("aim", "angle", ("aim", "relativebearing"),
                "degrees from the bow, clockwise (port is -90); port, starboard, ahead, astern"),
)

NOTE_COLUMNS: tuple[TableColumn, ...] = (
    *(column for column in LOG_COLUMNS
      if column.name in ("time", "date", "second_bottom", "first_echo_end", "second_seen", "display_range")),
    TableColumn("kind", "word", MARK_COLUMNS[2].spellings, "stump, rock, brush, weed ...: what was there at that time"),
    TableColumn("note", "word", MARK_COLUMNS[4].spellings, "own words, such as: second bottom strong"),
)

LEVEL_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("time", "time", (*LOG_COLUMNS[0].spellings, "date"), "when it was read"),
    TableColumn("level", "length", ("level", "lakelevel", "waterlevel", "gauge", "gaugeheight", "stage", "gage",
                                    "gageheight"), "level of the lake above the gauge's zero"),
    TableColumn("elevation", "length", ("elevation", "poolelevation", "pool", "lakeelevation", "poollevel"),
                "height of the lake above a geodetic zero; the full pool's height must be known too"),
)

PROFILE_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("depth", "length", LOG_COLUMNS[3].spellings, "depth below the surface, from the top down"),
    TableColumn("water_temperature", "temperature", LOG_COLUMNS[10].spellings, "degC, or degF if it says so"),
    TableColumn("oxygen", "level", ("oxygen", "oxygenmgl", "dissolvedoxygen", "domgl", "do", "o2"),
                "dissolved oxygen [mg/L]; empty: not measured"),
    TableColumn("time", "time", (*LOG_COLUMNS[0].spellings, "date"), "when it was measured; one cast a time"),
)

PRIOR_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("prior_depth", "length", (*LOG_COLUMNS[3].spellings, "contour", "isobath", "valdco", "contourdepth"),
                "depth of a line or point of an old map, from its own zero"),
    TableColumn("height", "length", ("height", "elevation", "elev", "altitude", "landheight", "ele"),
                "height of the land instead, from its own zero"),
)

CHECK_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("lat", "angle", LOG_COLUMNS[1].spellings, "degrees, north positive"),
    TableColumn("lon", "angle", LOG_COLUMNS[2].spellings, "degrees, east positive"),
    TableColumn("check_depth", "length",
                ("checkdepth", "lineddepth", "leadline", "poledepth", *LOG_COLUMNS[3].spellings),
                "depth by weighted line or pole below the surface of that day"),
    TableColumn("sigma", "length", ("sigma", "checksigma", "depthsigma", "error"), "its standard error; empty: 0.1 m"),
    TableColumn("time", "time", (*LOG_COLUMNS[0].spellings, "date"), "when it was measured"),
)

EDIT_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("what", "word", ("what",), "bad, restore, looked_nothing, drop_spot or merge_spots"),
    TableColumn("from", "time", ("from", "since", "begin", "start"), "first moment; empty: from the beginning"),
    TableColumn("until", "time", ("until", "to", "end"), "last moment; empty: to the end"),
    TableColumn("west", "angle", ("west",), "western edge of a place, degrees of longitude"),
    TableColumn("south", "angle", ("south",), "southern edge, degrees of latitude"),
    TableColumn("east", "angle", ("east",), "eastern edge"),
    TableColumn("north", "angle", ("north",), "northern edge"),
    TableColumn("log", "word", ("log",), "name of a log, * stands for anything; empty: all logs"),
    TableColumn("spots", "word", ("spots", "spot"), "names of spots, divided by spaces"),
    TableColumn("why", "word", ("why", "reason"), "own words, shown in the report"),
)

CATCH_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("lat", "angle", LOG_COLUMNS[1].spellings, "degrees, north positive"),
    TableColumn("lon", "angle", LOG_COLUMNS[2].spellings, "degrees, east positive"),
    TableColumn("count", "level", ("count", "fish", "caught", "catch", "number", "howmany"),
                "how many fish; 0 for an empty hour, which is data too"),
    TableColumn("effort", "level", ("effort", "efforth", "efforthours", "hours", "hoursfished"),
                "hours spent there"),
    TableColumn("time", "time", (*LOG_COLUMNS[0].spellings, "date"), "when it was"),
    TableColumn("kind", "word", ("kind", "species", "fishkind"), "kind of fish"),
    TableColumn("note", "word", ("note", "notes", "comment", "remark"), "anything else"),
)

SAMPLE_COLUMNS: tuple[TableColumn, ...] = (
    TableColumn("lat", "angle", LOG_COLUMNS[1].spellings, "degrees, north positive"),
    TableColumn("lon", "angle", LOG_COLUMNS[2].spellings, "degrees, east positive"),
    TableColumn("bottom", "word", ("bottom", "bottomtype", "bottomword", "substrate", "sediment", "groundtype"),
                "rock, boulders, gravel, sand, silt, mud, clay, weed ...; also silty sand, sand and gravel"),
    TableColumn("felt", "word", ("felt", "how", "method", "gear", "by"), "pole, weight, hook, anchor, grab, dry, seen"),
    TableColumn("time", "time", (*LOG_COLUMNS[0].spellings, "date"), "when it was felt"),
)
