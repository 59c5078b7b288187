"""How layers of lake.gpkg are to be drawn, in the table that desktop GIS look for: OGC Styled Layer Descriptor 1.0, and
the same as QML, the one that QGIS reads out of this table.

The table ``layer_styles`` is a convention between programs, not part of GeoPackage; its columns are from memory.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree

from lakemap.publish.gpx_xml import add, as_document

SLD, OGC = "http://www.opengis.net/sld", "http://www.opengis.net/ogc"

LOOKS: dict[str, tuple[str, str | None, float, str]] = {
    "spots": ("point", "#3a1a5e", 8.0, ""), "hits": ("point", "#5b6670", 4.0, ""),
    "contours": ("line", "#1f4a6b", 0.8, ""), "passes": ("line", "#8a9299", 0.6, ""),
    "edges": ("line", "#5c2f86", 1.6, ""), "shoreline": ("area", None, 1.6, ""),
    "features": ("area", "#7a5a8a", 1.2, ""), "gaps": ("area", "#8a7a52", 1.0, "2 4"),
    "hazards": ("any", "#f0b400", 2.6, "2 5"), "closed_areas": ("area", "#0c1c26", 3.0, "12 6"),
    "water_suits": ("area", "#2f7a8a", 1.2, "8 3"),
    "weed": ("area", "#4d4f8a", 1.2, ""), "changes": ("area", "#8a4d6a", 1.2, "6 3"),
}
"""Layer -> shape, colour (None: outline alone), width or size in pixels, dashes. Own choice; told apart by lightness,
width and dashes too, for colour-blind eyes."""

INK, FILL_OPACITY = "#0c1c26", "0.25"
ANY_SIZE = 12.0
"""Pixels of a point's mark in a layer of any shapes."""
_SHAPES = {"Point": "point", "LineString": "line", "Polygon": "area"}

_TABLE = """CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),
f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT,
styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME)"""


def add_styles(path: Path, layers: Mapping[str, str], when: str) -> None:
    """Write the styles of these layers (name -> geometry type) into a GeoPackage, dated ``when`` (ISO 8601).

    Raises OSError.
    """
    try:
        with closing(sqlite3.connect(path)) as base:
            base.execute(_TABLE)
            base.execute("INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
                         "VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?)", (when,))
            base.executemany(
                "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName,"
                " styleQML, styleSLD, useAsDefault, description, owner, update_time) "
                "VALUES ('', '', ?, 'geom', ?, ?, ?, 1, '', '', ?)",
                [(name, name, layer_qml(name, kind).decode(), layer_sld(name).decode(), when)
                 for name, kind in layers.items()])
            base.commit()
    except sqlite3.Error as fault:
        raise OSError(str(fault)) from None


def layer_sld(layer: str) -> bytes:
    """SLD 1.0 of one layer."""
    shape, colour, width, dashes = LOOKS[layer]
    root = ElementTree.Element("StyledLayerDescriptor", {"version": "1.0.0", "xmlns": SLD, "xmlns:ogc": OGC})
    named = add(root, "NamedLayer")
    add(named, "Name", layer)
    style = add(named, "UserStyle")
    add(style, "Name", layer)
    rule = add(add(style, "FeatureTypeStyle"), "Rule")
    if shape in ("area", "any"):
        area = add(rule, "PolygonSymbolizer")
        if colour is not None:
            _parameters(add(area, "Fill"), {"fill": colour, "fill-opacity": FILL_OPACITY})
        _stroke(area, INK, width, dashes)
    if shape in ("line", "any"):
        _stroke(add(rule, "LineSymbolizer"), colour or INK, width, dashes)
    if shape in ("point", "any"):
        graphic = add(add(rule, "PointSymbolizer"), "Graphic")
        mark = add(graphic, "Mark")
        add(mark, "WellKnownName", "triangle" if shape == "any" else "circle")
        _parameters(add(mark, "Fill"), {"fill": colour or INK})
        _stroke(mark, INK, 1.0, "")
        add(graphic, "Size", f"{width if shape == 'point' else ANY_SIZE:g}")
    return as_document(root)


def _stroke(parent: ElementTree.Element, colour: str, width: float, dashes: str) -> None:
    told = {"stroke": colour, "stroke-width": f"{width:g}"}
    _parameters(add(parent, "Stroke"), told | ({"stroke-dasharray": dashes} if dashes else {}))


def _parameters(parent: ElementTree.Element, told: dict[str, str]) -> None:
    for name, value in told.items():
        ElementTree.SubElement(parent, "CssParameter", {"name": name}).text = value


def layer_qml(layer: str, kind: str) -> bytes:
    """QML of one layer, one symbol for all of it; a layer of any shapes takes the symbol of its geometry type ``kind``.

    Properties stand in both forms that QGIS 3 has had (``Option`` since 3.18, ``prop`` before).
    """
    shape, colour, width, dashes = LOOKS[layer]
    if shape == "any":
        shape = next((own for word, own in _SHAPES.items() if kind.endswith(word)), "area")
    root = ElementTree.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology"})
    symbols = add(ElementTree.SubElement(root, "renderer-v2", {"type": "singleSymbol", "symbollevels": "0"}), "symbols")
    qgis_type, qgis_class, told = _qml_symbol(shape, colour, width, dashes, layer)
    symbol = ElementTree.SubElement(symbols, "symbol", {"type": qgis_type, "name": "0", "alpha": "1"})
    drawn = ElementTree.SubElement(symbol, "layer", {"class": qgis_class, "enabled": "1", "locked": "0", "pass": "0"})
    options = ElementTree.SubElement(drawn, "Option", {"type": "Map"})
    for name, value in told.items():
        ElementTree.SubElement(options, "Option", {"type": "QString", "name": name, "value": value})
        ElementTree.SubElement(drawn, "prop", {"k": name, "v": value})
    return as_document(root)


def _qml_symbol(
    shape: str, colour: str | None, width: float, dashes: str, layer: str
) -> tuple[str, str, dict[str, str]]:
    """Type of a symbol, class of its one layer, and that layer's properties; widths in pixels."""
    pattern = dashes.replace(" ", ";")
    dashed = {"use_custom_dash": "1", "customdash": pattern, "customdash_unit": "Pixel"} if dashes else {}
    if shape == "point":
        size = width if LOOKS[layer][0] == "point" else ANY_SIZE
        return "marker", "SimpleMarker", {
            "name": "circle" if LOOKS[layer][0] == "point" else "triangle", "color": _rgba(colour or INK),
            "outline_color": _rgba(INK), "outline_width": "1", "outline_width_unit": "Pixel", "size": f"{size:g}",
            "size_unit": "Pixel",
        }
    if shape == "line":
        return "line", "SimpleLine", {"line_color": _rgba(colour or INK), "line_style": "solid",
                                      "line_width": f"{width:g}", "line_width_unit": "Pixel"} | dashed
    outline = "dash" if dashes else "solid"
    return "fill", "SimpleFill", {
        "color": _rgba(colour or INK, FILL_OPACITY), "style": "solid" if colour else "no", "outline_color": _rgba(INK),
        "outline_style": outline, "outline_width": f"{width:g}", "outline_width_unit": "Pixel",
    }


def _rgba(colour: str, opacity: str = "1") -> str:
    red, green, blue = (int(colour[i:i + 2], 16) for i in (1, 3, 5))
    return f"{red},{green},{blue},{round(255 * float(opacity))}"
