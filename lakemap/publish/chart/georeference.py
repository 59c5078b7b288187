"""Where pages lie on the earth, written into a PDF: viewports with a geospatial measure (ISO 32000-2, section 12.10).

The file is left as it is and new versions of its page objects are put behind it (ISO 32000-1, section 7.5.6,
incremental updates), so nothing of the drawing changes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from pyproj import CRS

from lakemap.geo.crs import unproject
from lakemap.publish.chart.ink import MM_PER_POINT
from lakemap.publish.chart.paper import View
from lakemap.publish.letters import legible

_PAGE = re.compile(rb"(?m)^(\d+) 0 obj\n(<< /Type /Page\s.*?>>)\nendobj", re.DOTALL)
_CATALOG = re.compile(rb"(?m)^(\d+) 0 obj\n<< /Type /Catalog\b(.*?)>>\nendobj", re.DOTALL)
_SIZE, _START = re.compile(rb"/Size (\d+)"), re.compile(rb"startxref\n(\d+)\n%%EOF\s*$")
_INFO = re.compile(rb"/Info (\d+) 0 R")


@dataclass(frozen=True)
class Viewport:
    """A map on a page: its box in points (west, south, east, north), its corners south-west, north-west, north-east,
    south-east as latitude and longitude [deg], CRS, and a name."""

    box_pt: tuple[float, float, float, float]
    corners: tuple[tuple[float, float], ...]
    crs: CRS
    name: str

    @classmethod
    def of(cls, view: View, crs: CRS, name: str) -> Viewport:
        """The viewport of a map's box."""
        ground, at = view.ground, view.at
        lon, lat = unproject(crs, np.array([ground.west, ground.west, ground.east, ground.east]),
                             np.array([ground.south, ground.north, ground.north, ground.south]))
        box = tuple(side / MM_PER_POINT for side in (at.west, at.south, at.east, at.north))
        return cls((box[0], box[1], box[2], box[3]), tuple(zip(lat.tolist(), lon.tolist(), strict=True)), crs, name)


def with_viewports(pdf: bytes, viewports: Sequence[Viewport | None]) -> bytes:
    """The same file with a viewport on each page that has one, in the order of the pages."""
    pages = list(_PAGE.finditer(pdf))
    catalog, start = _CATALOG.search(pdf), _START.search(pdf)
    size = list(_SIZE.finditer(pdf))[-1]
    if catalog is None or start is None or len(pages) != len(viewports):
        raise ValueError(f"{len(pages)} pages found where {len(viewports)} were drawn")
    updates = [(int(page[1]), page[2][:-2] + _viewport(one) + b" >>")
               for page, one in zip(pages, viewports, strict=True) if one is not None]
    updates.append((int(catalog[1]), b"<< /Type /Catalog" + catalog[2].rstrip()
                    + b" /Version /1.7 /Lang (en) /ViewerPreferences << /DisplayDocTitle true >>"
                    + b" /Extensions << /ADBE << /BaseVersion /1.7 /ExtensionLevel 3 >> >> >>"))
    info = _INFO.search(pdf)
    return _appended(pdf, updates, int(size[1]), int(start[1]), (int(catalog[1]), int(info[1]) if info else None))


def _appended(pdf: bytes, updates: list[tuple[int, bytes]], size: int, start: int,
              root_info: tuple[int, int | None]) -> bytes:
    """Objects, a cross-reference section for them, and a trailer that points back."""
    out = bytearray(pdf if pdf.endswith(b"\n") else pdf + b"\n")
    table = b"xref\n0 1\n0000000000 65535 f \n"
    for number, content in sorted(updates):
        table += b"%d 1\n%010d 00000 n \n" % (number, len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, content)
    where = len(out)
    root, info = root_info
    trailer = b"trailer\n<< /Size %d /Root %d 0 R" % (size, root) + (b" /Info %d 0 R" % info if info else b"")
    out += table + trailer + b" /Prev %d >>\nstartxref\n%d\n%%%%EOF\n" % (start, where)
    return bytes(out)


def _viewport(one: Viewport) -> bytes:
    """The entry /VP of a page: corners in the unit square, counted from the box's south-west corner."""
    box = " ".join(f"{side:.4f}" for side in one.box_pt)
    places = " ".join(f"{lat:.10f} {lon:.10f}" for lat, lon in one.corners)
    square = "0 0 0 1 1 1 1 0"
    epsg = one.crs.to_epsg()
    system = f"/EPSG {epsg} " if epsg else ""
    wkt = _string(one.crs.to_wkt("WKT1_GDAL"))
    return (
        f" /VP [ << /Type /Viewport /BBox [ {box} ] /Name {_string(legible(one.name))} /Measure << /Type /Measure "
        f"/Subtype /GEO /Bounds [ {square} ] /GPTS [ {places} ] /LPTS [ {square} ] /GCS << /Type /PROJCS {system}"
        f"/WKT {wkt} >> /PDU [ /M /SQM /DEG ] >> >> ]"
    ).encode("ascii")


def _string(text: str) -> str:
    """A PDF string: as it is where it is plain ASCII, else UTF-16 in hexadecimal digits."""
    if text.isascii() and text.isprintable():
        return "(" + text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)") + ")"
    return "<" + ("\ufeff" + text).encode("utf-16-be").hex() + ">"
