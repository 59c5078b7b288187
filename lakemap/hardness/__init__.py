"""First and second echo to hardness with sigma."""

from lakemap.hardness.from_echoes import add_hardness
from lakemap.hardness.settings import HardnessSettings

__all__ = ["HardnessSettings", "add_hardness"]
