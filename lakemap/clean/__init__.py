"""Soundings in, soundings out: rows are flagged, never dropped."""

from lakemap.clean.boat_facts import set_clocks
from lakemap.clean.cleaning import clean, flag_off_water
from lakemap.clean.part import part_of, shore_within
from lakemap.clean.proof import prove_corrections
from lakemap.clean.settings import CleanSettings

__all__ = [
    "CleanSettings", "clean", "flag_off_water", "part_of", "prove_corrections", "set_clocks", "shore_within",
]
