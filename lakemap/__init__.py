"""lakemap: depth and bottom hardness of your own lake, from your own passes, with its error."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from lakemap.version import VERSION as __version__

if TYPE_CHECKING:
    from lakemap.errors import LakemapError
    from lakemap.model.frame import Grid
    from lakemap.model.lake_map import LakeMap
    from lakemap.model.soundings import Soundings
    from lakemap.model.spots import Spots
    from lakemap.model.surface import Surface
    from lakemap.pipeline import map_lake
    from lakemap.project import Lake
    from lakemap.publish import publish

__all__ = [
    "Grid", "Lake", "LakeMap", "LakemapError", "Soundings", "Spots", "Surface", "__version__", "map_lake", "publish",
]

_HOMES = {
    "Grid": "lakemap.model.frame", "Lake": "lakemap.project", "LakeMap": "lakemap.model.lake_map",
    "LakemapError": "lakemap.errors", "Soundings": "lakemap.model.soundings", "Spots": "lakemap.model.spots",
    "Surface": "lakemap.model.surface", "map_lake": "lakemap.pipeline", "publish": "lakemap.publish",
}


def __getattr__(name: str) -> Any:
    """Fetch a public name from its home when it is first asked for: ``import lakemap`` alone costs nothing."""
    if name not in _HOMES:
        raise AttributeError(f"lakemap has no {name}; it has {', '.join(__all__)}")
    return getattr(import_module(_HOMES[name]), name)
