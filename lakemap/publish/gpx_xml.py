"""What GPX and KML files share: elements, degrees, the document."""

from __future__ import annotations

from xml.etree import ElementTree

from lakemap.publish.spot_rows import DEGREE_DECIMALS
from lakemap.publish.wording import printable

GPX_NAMESPACE = "http://www.topografix.com/GPX/1/1"


def add(parent: ElementTree.Element, tag: str, text: str | None = None) -> ElementTree.Element:
    """A new element below ``parent``, with text that XML can carry."""
    child = ElementTree.SubElement(parent, tag)
    child.text = None if text is None else printable(text)
    return child


def as_degrees(value: float) -> str:
    """Decimal degrees without exponent."""
    return f"{value:.{DEGREE_DECIMALS}f}"


def gpx_longitude(lon_deg: float) -> str:
    """GPX 1.1 has -180 <= lon < 180."""
    text = as_degrees(lon_deg)
    return as_degrees(-180.0) if float(text) == 180.0 else text


def as_document(root: ElementTree.Element) -> bytes:
    """The whole document, indented, in UTF-8."""
    ElementTree.indent(root, " ")
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'.encode()
