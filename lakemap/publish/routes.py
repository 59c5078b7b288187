"""Trips and lines as GPX 1.1 routes."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np

from lakemap.geo.crs import unproject
from lakemap.model.frame import GridFrame
from lakemap.model.outputs import CAUTION
from lakemap.model.trip import Trip
from lakemap.publish.gpx_xml import GPX_NAMESPACE, add, as_degrees, as_document, gpx_longitude
from lakemap.units import format_length
from lakemap.version import VERSION

Floats = np.ndarray


def trip_gpx(trip: Trip, unit: str) -> bytes:
    """One route from the start over the stops and home; a stop carries its name, the corners between have none.

    A stop lies where its way ends, in water that may be driven, and not at the spot itself, which may lie beside it.
    """
    root = _root()
    route = ElementTree.SubElement(root, "rte")
    add(route, "name", "Trip")
    add(route, "desc", CAUTION)
    for number, way in enumerate(trip.ways):
        # a way starts where the one before it ended
        for corner in way[1 if number else 0:-1]:
            _point(route, *corner)
        if number < len(trip.stops):
            stop = trip.stops[number]
            point = _point(route, *way[-1])
            add(point, "name", stop.name)
            beside = f"{format_length(stop.off_m, unit, 0)} to the {stop.off_to}, " if stop.off_to else ""
            add(point, "cmt", f"{stop.kind} at {format_length(stop.depth_m, unit)}, {beside}"
                              f"{stop.arrives_s / 60:.0f} min after the start")
    if len(trip.ways):
        add(_point(route, *trip.ways[-1][-1]), "name", "home")
    return as_document(root)


def lines_gpx(lines: list[tuple[Floats, Floats]], frame: GridFrame) -> bytes:
    """Each line a route of two points, in the order and direction to drive them; ends (2,) on the frame's CRS."""
    root = _root()
    for number, ends in enumerate(lines, start=1):
        route = ElementTree.SubElement(root, "rte")
        add(route, "name", f"line {number:02d}")
        for what, (x, y) in zip(("start", "end"), ends, strict=True):
            lon, lat = unproject(frame.crs, np.array([x]), np.array([y]))
            add(_point(route, float(lon[0]), float(lat[0])), "name", f"{number:02d} {what}")
    return as_document(root)


def trip_way(trip: Trip) -> list[tuple[str, Floats]]:
    """A trip's way as one named line of corners (n, 2), longitude and latitude; none where it goes nowhere."""
    corners = [np.asarray(way, np.float64) for way in trip.ways if len(way)]
    if not corners:
        return []
    whole = np.concatenate(corners)
    # a way starts where the one before it ended
    fresh = np.append(True, (np.diff(whole, axis=0) != 0.0).any(axis=1))
    return [("Trip", whole[fresh])]


def line_ways(lines: list[tuple[Floats, Floats]], frame: GridFrame) -> list[tuple[str, Floats]]:
    """Lines to drive, ends (2,) on the frame's CRS, as named ways of corners (2, 2), longitude and latitude."""
    return [(f"line {number:02d}", np.column_stack(unproject(frame.crs, *np.array(ends).T)))
            for number, ends in enumerate(lines, start=1)]


def _root() -> ElementTree.Element:
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": f"lakemap {VERSION}", "xmlns": GPX_NAMESPACE})
    add(add(root, "metadata"), "desc", CAUTION)
    return root


def _point(route: ElementTree.Element, lon_deg: float, lat_deg: float) -> ElementTree.Element:
    place = {"lat": as_degrees(float(lat_deg)), "lon": gpx_longitude(float(lon_deg))}
    return ElementTree.SubElement(route, "rtept", place)
