"""Profiles of temperature and oxygen: the thermocline, and the band of water worth fishing."""

from lakemap.water.describe import describe_water

__all__ = ["describe_water"]
