"""Hits, terrain and surfaces -> spots: cluster, evidence, score, name, reasons."""

from lakemap.spots.find import find_spots
from lakemap.spots.learn import heed_catches
from lakemap.spots.own_notes import with_own_notes
from lakemap.spots.owners_word import heed_owner
from lakemap.spots.returned import without_returned
from lakemap.spots.score import score_spots
from lakemap.spots.settings import SpotSettings

__all__ = [
    "SpotSettings", "find_spots", "heed_catches", "heed_owner", "score_spots", "with_own_notes", "without_returned",
]
