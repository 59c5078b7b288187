"""Soundings in, soundings out: rows are flagged, never dropped."""

from lakemap.clean.cleaning import clean, flag_off_water
from lakemap.clean.settings import CleanSettings

__all__ = ["CleanSettings", "clean", "flag_off_water"]
