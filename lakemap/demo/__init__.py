"""An invented lake with known truth, its boat and its sounder; returns arrays and texts, writes nothing."""

from lakemap.demo.files import DEMO_SETTINGS, demo_files, demo_recordings
from lakemap.demo.lake import DEMO_NAME, DemoLake, demo_lake

__all__ = ["DEMO_NAME", "DEMO_SETTINGS", "DemoLake", "demo_files", "demo_lake", "demo_recordings"]
