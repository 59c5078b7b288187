"""What lies over the colour beside contours and spots: dangers, closed areas, gaps, edges, hits, held-out rows."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.geo.crs import project
from lakemap.model.changes import ChangedAreas
from lakemap.model.flags import SENTENCES, Flag, first_fault
from lakemap.model.frame import GridFrame
from lakemap.model.hits import FROM_MARK
from lakemap.model.lake_map import LakeMap
from lakemap.publish.gaps import gaps
from lakemap.publish.html_map import lines
from lakemap.publish.wording import closed_words, printable
from lakemap.units import length_slot

MOST_HITS, MOST_FLAGGED = 5000, 6000
"""Beyond, the surest hits and every so manieth held-out row are shown; lake.gpkg and soundings.parquet have all."""


def drawn(lake_map: LakeMap) -> dict[str, list[dict[str, Any]]]:
    """Layer -> its items: ``outlines``, ``lines`` or ``points`` as steps, and ``text`` with length slots."""
    frame = lake_map.depth.frame
    layers = {
        "hazards": _hazards(lake_map, frame), "closed": _closed(lake_map, frame),
        "gaps": [{"outlines": _outlines(frame, gap.outline), "text": gap.why} for gap in gaps(lake_map)],
        "edges": _edges(lake_map, frame), "hits": _hits(lake_map, frame), "flagged": _flagged(lake_map, frame),
    }
    if lake_map.changes is not None:
        layers["weed"] = _dated(frame, lake_map.changes.weed, "weed {} high")
        layers["moved"] = _dated(frame, lake_map.changes.moved, "floor moved by {}")
    return {name: items for name, items in layers.items() if items}


def on_frame(frame: GridFrame, shape: BaseGeometry) -> BaseGeometry:
    """A shape in WGS 84 on the frame's CRS."""
    def turned(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(project(frame.crs, lonlat[:, 0], lonlat[:, 1]))

    return shapely.transform(shapely.force_2d(shape), turned)


def _outlines(frame: GridFrame, shape: BaseGeometry) -> list[list[list[int]]]:
    return lines.outline_steps(frame, shape, lines.OUTLINE_SLACK * frame.pixel_m)


def _hazards(lake_map: LakeMap, frame: GridFrame) -> list[dict[str, Any]]:
    made, told = [], lake_map.hazards
    for shape, keep_m, what in zip(told.shape, told.keep_m, told.what, strict=True):
        here = on_frame(frame, shape)
        around = here.buffer(max(float(keep_m), 0.5 * frame.pixel_m))
        middle = shapely.get_coordinates(here.representative_point())
        text = f"{what or 'danger'}: keep {length_slot(float(keep_m))} away"
        made.append({"outlines": _outlines(frame, around), "anchor": lines.steps(frame, middle),
                     "text": printable(text)})
    return made


def _closed(lake_map: LakeMap, frame: GridFrame) -> list[dict[str, Any]]:
    told = lake_map.closed
    return [
        {"outlines": _outlines(frame, on_frame(frame, shape)), "text": closed_words(first, last, why)}
        for shape, first, last, why in zip(told.shape, told.first, told.last, told.why, strict=True)
    ]


def _edges(lake_map: LakeMap, frame: GridFrame) -> list[dict[str, Any]]:
    if lake_map.bottom is None:
        return []
    edges = lake_map.bottom.edges
    slack_m = lines.EDGE_SLACK * frame.pixel_m
    return [
        {"lines": lines.line_steps(frame, line, slack_m),
         "text": f"hard meets soft, {100 * edges.probability[k]:.0f} % sure"}
        for k, line in enumerate(edges.lines)
    ]


def _hits(lake_map: LakeMap, frame: GridFrame) -> list[dict[str, Any]]:
    hits = lake_map.hits
    order = np.lexsort((np.arange(len(hits)), -np.nan_to_num(hits.confidence)))[:MOST_HITS]
    made = []
    for origin, text in ((True, "marked by hand"), (False, "seen by the sounder")):
        rows = np.sort(order[(hits.origin[order] == FROM_MARK) == origin])
        if len(rows):
            points = np.column_stack([hits.x_m[rows], hits.y_m[rows]])
            made.append({"points": lines.steps(frame, points), "text": text})
    return made


def _flagged(lake_map: LakeMap, frame: GridFrame) -> list[dict[str, Any]]:
    """Held-out rows that have a place, one a pixel and reason, under the first reason of each."""
    s = lake_map.soundings
    west, south, east, north = frame.bounds
    fault = first_fault(s.flags)
    with np.errstate(invalid="ignore"):
        here = (s.x_m >= west) & (s.x_m <= east) & (s.y_m >= south) & (s.y_m <= north)
    rows = np.flatnonzero((fault > 0) & here)
    cells = np.column_stack([np.floor(s.x_m[rows] / frame.pixel_m), np.floor(s.y_m[rows] / frame.pixel_m),
                             fault[rows]]).astype(np.int64)
    rows = rows[np.sort(np.unique(cells, axis=0, return_index=True)[1])]
    rows = rows[:: -(-len(rows) // MOST_FLAGGED)] if len(rows) else rows
    made = []
    for bit in np.unique(fault[rows]):
        mine = rows[fault[rows] == bit]
        points = np.column_stack([s.x_m[mine], s.y_m[mine]])
        made.append({"points": lines.steps(frame, points), "text": SENTENCES[Flag(int(bit))]})
    return made


def _dated(frame: GridFrame, areas: ChangedAreas, words: str) -> list[dict[str, Any]]:
    return [
        {"outlines": _outlines(frame, outline),
         "text": f"{words.format(length_slot(float(areas.value_m[k])))}, {areas.since[k]} to {areas.until[k]}"}
        for k, outline in enumerate(areas.outline)
    ]
