"""Surface -> slope, position index, features, contours, depth-area-volume."""

from lakemap.terrain.describe import describe_terrain
from lakemap.terrain.settings import TerrainSettings

__all__ = ["TerrainSettings", "describe_terrain"]
