"""What every reader offers; a new format is one file beside this one with one class (gpx_marks.py is a short one)."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import ClassVar, Literal

from lakemap.model.marks import Marks
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

Role = Literal["log", "marks", "shore"]

SURE, LIKELY, PERHAPS = 0.95, 0.8, 0.5
"""Likelihoods that readers give; from PERHAPS on a reader is a candidate."""


class Reader(ABC):
    """Takes one file format in one role; installed packages offer theirs through entry points (``lakemap.readers``)."""

    name: ClassVar[str]
    role: ClassVar[Role]
    suffixes: ClassVar[tuple[str, ...]]
    summary: ClassVar[str]

    @abstractmethod
    def likelihood(self, source: Source) -> float:
        """How likely the file is of this format and role, 0..1, judged by its content and never by its name."""

    @abstractmethod
    def read(self, source: Source, settings: ReadSettings) -> Soundings | Marks | Shoreline:
        """Its content by role: Soundings of one log, Marks, or Shoreline. Raises InputError where nothing is usable."""
