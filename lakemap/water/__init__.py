"""Profiles of temperature and oxygen: the thermocline, and the band of water worth fishing; temperatures of logs."""

from lakemap.water.describe import describe_water
from lakemap.water.temperature import temperatures_of

__all__ = ["describe_water", "temperatures_of"]
