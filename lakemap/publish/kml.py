"""The whole map as KML 2.2, and packed as KMZ: spots, dangers, closed areas, contours, features."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Mapping
from html import escape
from typing import Any
from xml.etree import ElementTree

import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from lakemap.model.drawn import Drawn
from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.publish.degrees import in_degrees
from lakemap.publish.gpx_xml import add, as_degrees, as_document
from lakemap.publish.waypoints import KML_NAMESPACE, add_spots
from lakemap.publish.wording import closed_words
from lakemap.units import format_length

LAYERS = {"hazards": "Dangers", "closed_areas": "Closed areas", "contours": "Contours", "features": "Features"}
"""Layer of lake.gpkg -> name of its folder here, in the order of the folders behind the spots."""

STYLES = {
    "hazards": ("ff261c0c", 3, "8000b4f0"), "closed_areas": ("ff261c0c", 3, "4d261c0c"),
    "contours": ("ff6b4a1f", 1, "00ffffff"), "features": ("ff8a5a7a", 2, "268a5a7a"),
}
"""Colour of lines as KML has it (aabbggrr), their width in pixels, colour of areas; as on the page where it has any."""

DOCUMENT = "doc.kml"
"""The member that a reader opens, at the root of the archive (OGC 07-147r2, annex C; from memory)."""

_FIRST_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip archive can hold: the clock is not read."""


def kmz(document: bytes) -> bytes:
    """A KML document packed, the same bytes for the same document."""
    packed = io.BytesIO()
    member = zipfile.ZipInfo(DOCUMENT, _FIRST_DATE)
    member.compress_type, member.create_system, member.external_attr = zipfile.ZIP_DEFLATED, 3, 0o644 << 16
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(member, document, compresslevel=9)
    return packed.getvalue()


def lake_kml(name: str, spots: Spots, layers: Mapping[str, Drawn], crs: CRS, unit: str) -> bytes:
    """KML 2.2: a folder for the spots and one for each of LAYERS that the map has; shapes of ``layers`` on ``crs``."""
    root = ElementTree.Element("kml", {"xmlns": KML_NAMESPACE})
    document = add(root, "Document")
    add(document, "name", name)
    add(document, "description", CAUTION)
    for layer in LAYERS:
        _style(document, layer)
    if len(spots):
        add_spots(_folder(document, "Spots"), spots, unit)
    for layer, title in LAYERS.items():
        if len(drawn := layers.get(layer, Drawn())):
            _add_layer(_folder(document, title), layer, drawn, crs, unit)
    return as_document(root)


def _style(document: ElementTree.Element, layer: str) -> None:
    line, width, area = STYLES[layer]
    style = ElementTree.SubElement(document, "Style", {"id": layer})
    for tag, colour in (("LineStyle", line), ("PolyStyle", area)):
        part = add(style, tag)
        add(part, "color", colour)
        if tag == "LineStyle":
            add(part, "width", str(width))


def _folder(document: ElementTree.Element, title: str) -> ElementTree.Element:
    folder = add(document, "Folder")
    add(folder, "name", title)
    return folder


def _add_layer(folder: ElementTree.Element, layer: str, drawn: Drawn, crs: CRS, unit: str) -> None:
    for shape, fields in zip(drawn.shapes, drawn.fields, strict=True):
        placed = in_degrees(crs, shape)
        if placed.is_empty:
            continue
        mark = add(folder, "Placemark")
        name, told = _said(layer, fields, unit)
        add(mark, "name", name)
        if told:
            add(mark, "description", escape(told, quote=False))
        add(mark, "styleUrl", f"#{layer}")
        _add_shape(mark, placed)


def _said(layer: str, fields: Mapping[str, Any], unit: str) -> tuple[str, str]:
    """Name and description of one shape."""
    if layer == "contours":
        return str(fields["label"]), ""
    if layer == "hazards":
        return fields["what"] or "danger", f"Keep {format_length(fields['keep_m'], unit)} away."
    if layer == "closed_areas":
        return fields["why"] or "closed", closed_words(fields["first"] or "", fields["last"] or "", "")
    depth, relief = (fields[name] for name in ("depth_m", "relief_m"))
    told = [] if depth is None else [f"{format_length(depth, unit)} deep"]
    told += [] if relief is None else [f"relief {format_length(relief, unit)}"]
    return str(fields["kind"]), ", ".join(told)


def _add_shape(parent: ElementTree.Element, shape: BaseGeometry) -> None:
    if isinstance(shape, shapely.GeometryCollection) or shape.geom_type.startswith("Multi"):
        several = add(parent, "MultiGeometry")
        for part in shapely.get_parts(shape):
            _add_shape(several, part)
    elif isinstance(shape, shapely.Polygon):
        polygon = add(parent, "Polygon")
        rings = [("outerBoundaryIs", shape.exterior), *(("innerBoundaryIs", hole) for hole in shape.interiors)]
        for tag, ring in rings:
            add(add(add(polygon, tag), "LinearRing"), "coordinates", _tuples(ring.coords))
    else:
        add(add(parent, shape.geom_type), "coordinates", _tuples(shape.coords))


def _tuples(coordinates: Iterable[tuple[float, ...]]) -> str:
    return " ".join(f"{as_degrees(lon)},{as_degrees(lat)}" for lon, lat, *_ in coordinates)
