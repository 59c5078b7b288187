"""What can go wrong, as one tree; the command line catches its root only.

LakemapError
├── UsageError            wrong words on the command line, wrong settings (exit 2)
│   ├── SettingError      a setting outside its range
│   └── AmbiguousFile     a file that could be two things
├── InputError            a file or its content cannot be used (exit 1)
│   ├── UnknownFormat     no reader takes it
│   └── NothingUsable     nothing is left to make a map of
├── OutputError           a result cannot be written: disk full, no permission (exit 1)
└── FrameMismatch         two layers on different frames: a fault of our own (exit 70)

Every message is one line that names the thing, the value, the rule and the next step.
"""

from __future__ import annotations

from typing import ClassVar


class LakemapError(Exception):
    """Root of the tree; ``exit_status`` is what the command line returns."""

    exit_status: ClassVar[int] = 70


class UsageError(LakemapError):
    """The command or a setting is wrong."""

    exit_status = 2


class SettingError(UsageError):
    """A setting is outside its range, or no such setting exists."""


class AmbiguousFile(UsageError):
    """A file could be two things; the message names the option that settles it."""


class InputError(LakemapError):
    """A file, or what is in it, cannot be used."""

    exit_status = 1


class UnknownFormat(InputError):
    """No reader takes the file."""


class NothingUsable(InputError):
    """After reading and cleaning nothing is left to work with."""


class OutputError(LakemapError):
    """A result cannot be written."""

    exit_status = 1


class FrameMismatch(LakemapError):
    """Two layers do not lie on the same frame."""
