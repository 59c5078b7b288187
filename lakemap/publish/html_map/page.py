"""map.html: one file that shows the lake with no network at all."""

from __future__ import annotations

import html
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lakemap.errors import OutputError
from lakemap.model.lake_map import LakeMap
from lakemap.model.outputs import CAUTION
from lakemap.publish.html_map.basemap import Basemap, basemap
from lakemap.publish.html_map.contents import bounds, contents
from lakemap.publish.html_map.folium_page import FoliumPage
from lakemap.publish.reader_unit import choose_unit
from lakemap.publish.settings import PublishSettings
from lakemap.publish.wording import printable

FOLDER = Path(__file__).parent

MODULES = (
    "dom", "keep", "units", "slices", "codec", "geo", "markup", "exchange", "grid", "sureness", "today", "suited",
    "picture", "painter", "legend", "views", "tracer", "pen", "contours", "sketch", "overlays", "basemap", "nearby",
    "graticule", "here", "notes", "picks", "section", "spots", "readout", "layers", "scale_bar", "start",
)
"""The page's own modules, in the order in which they need each other."""


def write_map(lake_map: LakeMap, path: Path, settings: PublishSettings) -> None:
    """Write the page; the same lake gives the same bytes.

    Raises OutputError when the file cannot be written.
    """
    unit = choose_unit(lake_map.soundings, settings)
    page = map_page(lake_map, unit, settings.pass_tolerance_m, basemap(settings.basemap) if settings.basemap else None)
    try:
        path.write_bytes(page.encode("utf-8"))
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror}); free space or choose another --out") from None


def map_page(lake_map: LakeMap, unit: str, pass_tolerance_m: float = 1.0, background: Basemap | None = None) -> str:
    """The page as text, starting in ``unit`` (m or ft); it asks a server only where it has a ``background``."""
    (south, west), (north, east) = bounds(lake_map.depth.estimate)
    page = FoliumPage(((south + north) / 2, (west + east) / 2), printable(lake_map.name),
                      background.origin if background else None)
    page.add_style(text_of("page.css"))
    page.add_script("\n".join(['"use strict";', *(text_of(f"{name}.js") for name in MODULES)]))
    page.add_body(text_of("body.html").replace("LAKE-CAUTION", html.escape(CAUTION)))
    told = {"basemap": {"url": background.url, "host": background.host} if background else None}
    page.add_body(data_block(contents(lake_map, unit, pass_tolerance_m) | told))
    return page.render()


def data_block(data: Mapping[str, Any]) -> str:
    """The data as a block that runs nothing: no ``<`` is left in it, whatever the names hold."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")
    return f'<script type="application/json" id="lake-data">{text}</script>'


def text_of(name: str) -> str:
    """A file of this folder."""
    return (FOLDER / name).read_text(encoding="utf-8")
