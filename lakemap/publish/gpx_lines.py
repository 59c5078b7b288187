"""Lines as GPX 1.1 tracks of no more points than a plotter takes: contours, passes, dangers, what is to be driven."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from xml.etree import ElementTree

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from lakemap.model.drawn import Drawn
from lakemap.model.outputs import CAUTION
from lakemap.publish.degrees import in_degrees
from lakemap.publish.gpx_xml import GPX_NAMESPACE, add, as_degrees, as_document, gpx_longitude
from lakemap.publish.waypoints import OWN_NAMESPACE
from lakemap.publish.wording import closed_words, depth_label
from lakemap.units import format_length
from lakemap.version import VERSION

MOST_POINTS = 500
"""Points of a track if not asked for otherwise: many plotters take no more in one (common practice, no source)."""

Floats = NDArray[np.float64]


def contours_gpx(contours: Drawn, crs: CRS, unit: str, most_points: int = MOST_POINTS) -> bytes:
    """A track a piece of contour, named by its depth and its number: ``15 ft 003``; depth [m] in an extension."""
    root = _root()
    number = 0
    for shape, fields in zip(contours.shapes, contours.fields, strict=True):
        for piece in pieces(in_degrees(crs, shape), most_points):
            number += 1
            _track(root, f"{depth_label(fields['depth_m'], unit)} {number:03d}", "contour", piece, fields["depth_m"])
    return as_document(root)


def passes_gpx(passes: Drawn, crs: CRS, most_points: int = MOST_POINTS) -> bytes:
    """A track a piece of pass, named by its number; its log and day in the comment."""
    root = _root()
    for shape, fields in zip(passes.shapes, passes.fields, strict=True):
        told = " ".join(str(fields[name]) for name in ("log", "day") if fields.get(name))
        for number, piece in enumerate(pieces(in_degrees(crs, shape), most_points), 1):
            _track(root, f"pass {fields['pass_id']} {number:02d}", "pass", piece, comment=told)
    return as_document(root)


def dangers_gpx(
    hazards: Drawn, closed: Drawn, crs: CRS, unit: str, most_points: int = MOST_POINTS
) -> bytes:
    """Dangers and closed areas for a plotter: points as waypoints, lines and outlines as tracks, the distance to keep
    or the days in the comment."""
    root = _root()
    told = [(fields["what"] or "danger", f"Keep {format_length(fields['keep_m'], unit)} away.", shape)
            for shape, fields in zip(hazards.shapes, hazards.fields, strict=True)]
    told += [(fields["why"] or "closed", closed_words(fields["first"] or "", fields["last"] or "", ""), shape)
             for shape, fields in zip(closed.shapes, closed.fields, strict=True)]
    placed = [(name, said, part) for name, said, shape in told for part in shapely.get_parts(in_degrees(crs, shape))]
    # the schema wants all waypoints before the first track
    for name, said, part in placed:
        if isinstance(part, shapely.Point):
            place = {"lat": as_degrees(part.y), "lon": gpx_longitude(part.x)}
            point = ElementTree.SubElement(root, "wpt", place)
            for tag, text in (("name", name), ("cmt", said), ("type", "danger")):
                add(point, tag, text)
    for number, (name, said, part) in enumerate(placed, 1):
        outlines = [part.exterior, *part.interiors] if isinstance(part, shapely.Polygon) else [part]
        for outline in outlines if not isinstance(part, shapely.Point) else ():
            for piece in pieces(outline, most_points):
                _track(root, f"{name} {number:03d}", "danger", piece, comment=said)
    return as_document(root)


def ways_gpx(ways: Iterable[tuple[str, Floats]], most_points: int = MOST_POINTS) -> bytes:
    """Ways to drive, each a name and its corners (n, 2) as longitude and latitude, as tracks in their order."""
    root = _root()
    for name, corners in ways:
        split = list(pieces(shapely.LineString(corners), most_points)) if len(corners) > 1 else []
        for number, piece in enumerate(split, 1):
            _track(root, f"{name} {number:02d}" if len(split) > 1 else name, "way", piece)
    return as_document(root)


def pieces(shape: BaseGeometry, most_points: int) -> Iterator[Floats]:
    """Lines of a shape as (n, 2) with 2 <= n <= ``most_points``; a piece starts where the one before it ended."""
    for line in shapely.get_parts(shape):
        corners = shapely.get_coordinates(line)
        for start in range(0, len(corners) - 1, most_points - 1):
            yield corners[start:start + most_points]


def _root() -> ElementTree.Element:
    root = ElementTree.Element("gpx", {
        "version": "1.1", "creator": f"lakemap {VERSION}", "xmlns": GPX_NAMESPACE, "xmlns:lake": OWN_NAMESPACE,
    })
    add(add(root, "metadata"), "desc", CAUTION)
    return root


def _track(
    root: ElementTree.Element, name: str, kind: str, corners: Floats, depth_m: float | None = None, comment: str = ""
) -> None:
    track = add(root, "trk")
    add(track, "name", name)
    if comment:
        add(track, "cmt", comment)
    add(track, "type", kind)
    if depth_m is not None:
        add(add(track, "extensions"), "lake:depth_m", f"{depth_m:.3f}")
    segment = add(track, "trkseg")
    for lon, lat in corners.tolist():
        ElementTree.SubElement(segment, "trkpt", {"lat": as_degrees(lat), "lon": gpx_longitude(lon)})
