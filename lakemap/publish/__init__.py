"""A LakeMap to files: rasters, vectors, waypoints, the map page, the report, and the record that all are there."""

from lakemap.publish.publish import publish
from lakemap.publish.settings import PublishSettings

__all__ = ["PublishSettings", "publish"]
