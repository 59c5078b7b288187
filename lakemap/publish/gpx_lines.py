"""Contours and passes as GPX 1.1 tracks of no more points than a plotter takes."""

from __future__ import annotations

from collections.abc import Iterator
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
from lakemap.publish.wording import depth_label
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
