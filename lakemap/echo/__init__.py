"""What was seen: marks placed on the map, and what stands up from the floor along a pass."""

from lakemap.echo.find import find_hits
from lakemap.echo.marks import place_marks
from lakemap.echo.rises import find_rises
from lakemap.echo.settings import EchoSettings

__all__ = ["EchoSettings", "find_hits", "find_rises", "place_marks"]
