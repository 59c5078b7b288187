"""A LakeMap to files: rasters, vectors, waypoints, the map page, the report, and the record that all are there."""

import sys
from types import ModuleType
from typing import Any

from lakemap.model.lake_map import LakeMap
from lakemap.publish.notebook import inline_page
from lakemap.publish.publish import publish
from lakemap.publish.settings import PublishSettings

__all__ = ["PublishSettings", "publish"]

LakeMap.page = staticmethod(inline_page)


class _Door(ModuleType):
    """``lakemap.publish`` is a public function, but once this package is loaded the name means the package.

    So the package may be called, too, and does what its function does.
    """

    def __call__(self, *given: Any, **named: Any) -> dict[str, Any]:
        return publish(*given, **named)


sys.modules[__name__].__class__ = _Door
