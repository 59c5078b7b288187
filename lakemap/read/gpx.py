"""GPX 1.1: points out of a file that is not trusted (no entities, no external parts), in any namespace."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from lakemap.errors import InputError
from lakemap.model.columns import LOG_COLUMNS
from lakemap.read.source import Source
from lakemap.read.table_columns import Header, recognise

_ROOT = re.compile(rb"<(?:[\w.-]+:)?gpx[\s>]")
_TRACK_POINT = re.compile(rb"<(?:[\w.-]+:)?trkpt\b")
_WAYPOINT = re.compile(rb"<(?:[\w.-]+:)?wpt\b")
_DEPTH = re.compile(rb"<(?:[\w.-]+:)?[\w.-]*(?:depth|sounding|bathymetry)[\w.-]*[\s>]", re.IGNORECASE)


@dataclass(frozen=True)
class GpxPoint:
    """``lat``, ``lon`` as text; ``texts`` child name -> text; ``extras`` what extensions say, by our column names."""

    lat: str
    lon: str
    texts: dict[str, str] = field(default_factory=dict)
    extras: dict[str, tuple[Header, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class GpxContents:
    """What a file holds, judged by its tags without parsing it."""

    track_points: bool = False
    depths: bool = False
    waypoints: bool = False


def gpx_contents(source: Source) -> GpxContents:
    """Which kinds of points a file has; all False for one that is no GPX."""
    head = source.head
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        head = source.text().encode()
    if not _ROOT.search(head):
        return GpxContents()
    data = head if len(head) >= source.size else source.data()
    return GpxContents(
        _TRACK_POINT.search(data) is not None, _DEPTH.search(data) is not None, _WAYPOINT.search(data) is not None
    )


def gpx_points(source: Source, tag: str) -> Iterator[GpxPoint]:
    """All points of a kind (``trkpt`` or ``wpt``), in file order.

    Raises InputError for XML that is broken or that reaches for entities or other files.
    """
    with source.open() as file:
        try:
            for _, element in iterparse(file, events=("end",), forbid_dtd=True):
                if _local(element) == tag:
                    yield _point(element)
                    element.clear()
        except ParseError as fault:
            raise InputError(f"{source.name}: broken XML ({fault}); save the file again") from None
        except DefusedXmlException:
            raise InputError(f"{source.name}: XML with entities or a document type is refused; save as GPX") from None
        except (ValueError, LookupError) as fault:
            raise InputError(f"{source.name}: XML cannot be read ({fault}); save the file again") from None


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _point(element: Element) -> GpxPoint:
    point = GpxPoint(element.get("lat", ""), element.get("lon", ""))
    for child in element:
        if _local(child) == "extensions":
            for inner in child.iter():
                _note_extra(inner, point)
        elif child.text:
            point.texts.setdefault(_local(child), child.text.strip())
    return point


def _note_extra(element: Element, point: GpxPoint) -> None:
    header = _header(_local(element)) if element.text and element.text.strip() else None
    if header is not None:
        point.extras.setdefault(header.name, (header, (element.text or "").strip()))


@lru_cache(maxsize=256)
def _header(name: str) -> Header | None:
    """What an element of this name means; ``waterDepth`` is read as ``water_Depth``, so that a unit behind is seen."""
    return recognise(re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name), 0, LOG_COLUMNS)
