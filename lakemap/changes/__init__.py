"""Readings of different dates: what is weed's top and not floor, and what has moved since."""

from lakemap.changes.find import find_changes
from lakemap.changes.layers import change_layers

__all__ = ["change_layers", "find_changes"]
