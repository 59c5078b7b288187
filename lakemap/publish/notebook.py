"""The page of a map inline in a notebook: a frame of its own, cut off from the notebook around it."""

from __future__ import annotations

import html

from lakemap.model.lake_map import LakeMap
from lakemap.publish.html_map.page import map_page
from lakemap.publish.reader_unit import choose_unit
from lakemap.publish.settings import PublishSettings
from lakemap.publish.wording import printable

HEIGHT_PX = 620


def inline_page(lake_map: LakeMap) -> str:
    """An ``<iframe>`` with the whole of map.html in it: scripts run in an origin of their own, without the notebook's
    storage, cookies or page within reach."""
    told = dict(lake_map.settings.get("publish", {}))
    settings = PublishSettings(**{name: told[name] for name in ("units", "pass_tolerance_m") if told.get(name)})
    page = map_page(lake_map, choose_unit(lake_map.soundings, settings), settings.pass_tolerance_m)
    return (
        f'<iframe title="{html.escape(printable(lake_map.name))}" sandbox="allow-scripts allow-downloads" '
        f'style="width:100%;height:{HEIGHT_PX}px;border:1px solid #8a949a" srcdoc="{html.escape(page)}"></iframe>'
    )
