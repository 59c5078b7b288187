"""What every reader offers; a new format is one file beside this one with one class (gpx_marks.py is a short one)."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import ClassVar, Literal, get_args

from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

Role = Literal[
    "log", "marks", "shore", "levels", "profile", "samples", "check_depths", "prior", "hazards", "closed", "catches",
    "edits", "boat",
]
"""What a file may be for; a role counts from the moment that some reader takes it."""
OPTIONS: Mapping[Role, str] = {role: "--" + role.replace("_", "-") for role in get_args(Role)}
"""The option that gives a file its role, in the order in which roles are named."""

SURE, LIKELY, PERHAPS = 0.95, 0.8, 0.5
"""Likelihoods that readers give. From LIKELY on the file is fit for the role; PERHAPS says that it may have been meant
so although something lacks, so that the fault can be named: it counts only where no role is likelier."""


class Reader(ABC):
    """Takes one file format in one role; installed packages offer theirs through entry points (``lakemap.readers``)."""

    name: ClassVar[str]
    role: ClassVar[Role]
    suffixes: ClassVar[tuple[str, ...]]
    summary: ClassVar[str]

    @abstractmethod
    def likelihood(self, source: Source) -> float:
        """How likely the file is of this format and role, 0..1, judged by its content and never by its name.

        May raise InputError for a file that must be of the format but is broken.
        """

    @abstractmethod
    def read(self, source: Source, settings: ReadSettings) -> object:
        """Its content as a frozen dataclass of model/: Soundings of one log, Marks, Shoreline and so on by role.

        Raises InputError where nothing is usable, and nothing else whatever the bytes.
        """
