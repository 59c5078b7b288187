"""IHO B-12, crowdsourced bathymetry: how to tell its files, and what their metadata say of the depths."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

from lakemap.errors import InputError
from lakemap.model.log_facts import DepthReference
from lakemap.read.archives import open_beside
from lakemap.read.source import Source

CONVENTION = re.compile(rb'"convention"\s*:\s*"(?:GeoJSON|XYZ)\s+CSB\s+[\d.]+"', re.IGNORECASE)
XYZ_HEADERS = {"LON", "LAT", "DEPTH", "TIME"}
ARCHIVE_HEADERS = {"UNIQUE_ID", "FILE_UUID", "PLATFORM_NAME", "PROVIDER"}
"""More columns of the tables that the archive of such readings hands out (from memory)."""
LARGEST_METADATA = 1 << 20
REFERENCES: dict[str, DepthReference] = {
    "transducer": "transducer", "waterline": "surface", "water line": "surface", "surface": "surface", "keel": "keel",
}


@dataclass(frozen=True)
class B12Told:
    """What the metadata say: convention, what depths count from (None: unknown), draft, whether depths are processed,
    the platform's identifier."""

    convention: str = ""
    reference: DepthReference | None = None
    draft_m: float | None = None
    processed: bool = False
    platform: str = ""


def is_b12(source: Source) -> bool:
    """Whether a file is B-12 GeoJSON by its convention, or a B-12 table by its header and what lies beside it."""
    return is_b12_geojson(source) or is_b12_table(source)


def is_b12_geojson(source: Source) -> bool:
    """Whether the convention is named among the first bytes, in a collection of features."""
    return CONVENTION.search(source.head) is not None and b"FeatureCollection" in source.head


def is_b12_table(source: Source) -> bool:
    """Whether the header is that of B-12 and its metadata lie beside it, or it has the archive's own columns too."""
    first = source.head.split(b"\n", 1)[0].decode("latin-1").strip("\r\ufeff ï»¿")
    headers = [text.strip().strip('"') for text in first.split(",")]
    extra = set(headers) - XYZ_HEADERS
    if not set(headers) >= XYZ_HEADERS or not extra <= ARCHIVE_HEADERS:
        return False
    return bool(extra & {"UNIQUE_ID", "PROVIDER"}) or metadata_beside(source) is not None


def is_metadata(source: Source) -> bool:
    """Whether a JSON file is only the metadata of the B-12 table beside it."""
    if not (source.head.lstrip()[:1] == b"{" and CONVENTION.search(source.head)) or b"FeatureCollection" in source.head:
        return False
    beside = open_beside(source, ".csv")
    if beside is not None:
        beside.close()
    return beside is not None


def metadata_beside(source: Source) -> dict[str, Any] | None:
    """The metadata in the JSON file of the table's name; None where there is none that names the convention."""
    try:
        beside = open_beside(source, ".json")
        if beside is None:
            return None
        with beside:
            data = beside.read(LARGEST_METADATA)
        whole = json.loads(data) if CONVENTION.search(data) else None
    except (OSError, InputError, ValueError, RecursionError):
        return None
    return whole if isinstance(whole, dict) else None


def b12_told(whole: dict[str, Any]) -> B12Told:
    """What the metadata of a collection say, in the form of 3.0, of 3.1 and of those that came before."""
    text = str(_first(whole, ("vertical", "verticalReferenceOfDepth")) or "").strip().lower()
    return B12Told(
        str(_first(whole, ("convention",)) or ""), REFERENCES.get(text), _draft_m(_first(whole, ("draft",))),
        _first(whole, ("dataProcessed",)) is True, str(_first(whole, ("uniqueID", "uniqueVesselID")) or ""),
    )


def _first(value: Any, keys: tuple[str, ...], depth: int = 0) -> Any:
    """The first value under one of the keys that is no collection, through objects and lists of metadata."""
    if depth > 8:
        return None
    if isinstance(value, dict):
        own = [value[key] for key in keys if key in value and not isinstance(value[key], dict | list)]
        parts = [part for key, part in value.items() if key != "features"]
    else:
        own, parts = [], value[:100] if isinstance(value, list) else []
    return own[0] if own else next(
        (found for part in parts if (found := _first(part, keys, depth + 1)) is not None), None
    )


def _draft_m(value: Any) -> float | None:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if number and 0 < value < 30 else None
