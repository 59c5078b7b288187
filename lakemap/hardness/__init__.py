"""First and second echo to hardness with sigma, calibrated on bottom samples, and to classes of the bottom."""

from lakemap.hardness.bottom import classify_bottom
from lakemap.hardness.from_echoes import HardnessReadings, add_hardness, read_hardness
from lakemap.hardness.samples_on import place_samples
from lakemap.hardness.settings import HardnessSettings

__all__ = [
    "HardnessReadings", "HardnessSettings", "add_hardness", "classify_bottom", "place_samples", "read_hardness",
]
