"""Spots for a plotter or a phone: GPX, CSV and KML."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any
from xml.etree import ElementTree

from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.publish.csv_cells import csv_text
from lakemap.publish.gpx_xml import GPX_NAMESPACE, add, as_degrees, as_document, gpx_longitude
from lakemap.publish.spot_rows import spot_fields, spot_rows
from lakemap.units import format_length
from lakemap.version import VERSION

KML_NAMESPACE = "http://www.opengis.net/kml/2.2"
OWN_NAMESPACE = "urn:lakemap:waypoint:1"
"""For what GPX has no element: its ``ele`` is a height, so depth goes into the extensions."""


def waypoints_gpx(spots: Spots, unit: str) -> bytes:
    """GPX 1.1: a waypoint a spot, its note in ``cmt``, its kind in ``type``, depth [m] in extensions of our own."""
    root = ElementTree.Element("gpx", {
        "version": "1.1", "creator": f"lakemap {VERSION}", "xmlns": GPX_NAMESPACE, "xmlns:lake": OWN_NAMESPACE,
    })
    add(add(root, "metadata"), "desc", CAUTION)
    for row in spot_rows(spots, unit):
        place = {"lat": as_degrees(row["lat_deg"]), "lon": gpx_longitude(row["lon_deg"])}
        point = ElementTree.SubElement(root, "wpt", place)
        if row["last_seen"]:
            add(point, "time", row["last_seen"])
        add(point, "name", row["name"])
        add(point, "cmt", note(row, unit))
        # a plotter may rename a waypoint: the name inside still tells whose it is when it comes back as a mark
        add(point, "desc", row["name"])
        add(point, "type", row["kind"])
        _extend(point, row)
    return as_document(root)


def waypoints_kml(spots: Spots, unit: str) -> bytes:
    """KML 2.2: a placemark a spot on the ground (the water's surface), its note as description."""
    root = ElementTree.Element("kml", {"xmlns": KML_NAMESPACE})
    document = add(root, "Document")
    add(document, "name", "Spots")
    add(document, "description", CAUTION)
    add_spots(document, spots, unit)
    return as_document(root)


def add_spots(parent: ElementTree.Element, spots: Spots, unit: str) -> None:
    """A placemark a spot below ``parent``, in their order."""
    for row in spot_rows(spots, unit):
        mark = add(parent, "Placemark")
        add(mark, "name", row["name"])
        # readers show a description as HTML: a text without markup has to be escaped once for that, too
        add(mark, "description", escape(note(row, unit), quote=False))
        add(add(mark, "Point"), "coordinates", f"{as_degrees(row['lon_deg'])},{as_degrees(row['lat_deg'])}")


def waypoints_csv(spots: Spots, unit: str) -> str:
    """CSV with the fields of lake.gpkg's layer ``spots``; no text in it can run as a spreadsheet's formula."""
    names = spot_fields(spots)
    return csv_text(names, [[row[name] for name in names] for row in spot_rows(spots, unit)])


def note(row: Mapping[str, Any], unit: str) -> str:
    """One row of spot_rows in a few words: kind, depth, how often it was seen, why it is one."""
    depth = "unknown depth" if row["depth_m"] is None else format_length(row["depth_m"], unit)
    passes = f"seen by {row['seen']} of {row['could_see']} passes" if row["could_see"] else "no pass over it"
    return f"{row['kind']} at {depth}, {passes}. {row['reasons']}".strip()


def _extend(point: ElementTree.Element, row: Mapping[str, Any]) -> None:
    known = {name: row[name] for name in ("depth_m", "depth_sigma_m", "position_sigma_m") if row[name] is not None}
    if known:
        extensions = add(point, "extensions")
        for name, value in known.items():
            add(extensions, f"lake:{name}", f"{value:.3f}")
