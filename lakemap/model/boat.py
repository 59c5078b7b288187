"""The boat apart from the lake: its sounders, and which log came from which of them."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase

from lakemap.limits import Settings, between, one_of
from lakemap.model.log_facts import DraftSpan

NO_SOUNDER = "none"
"""Word in a ``[[log]]`` table for depths that none of the boat's sounders measured: a friend's, a pole's."""


@dataclass(frozen=True)
class Sounder(Settings):
    """One ``[[sounder]]`` of boat.toml; ``drafts`` are spans of time in which the draft was another, ``speed_unknown``
    whether the owner said that the assumed sound speed is not known."""

    name: str = "sounder"
    draft_m: float | None = between(0.0, 5.0, default=None, why="transducer below the water surface")
    forward_m: float | None = between(
        -30.0, 30.0, default=None, why="transducer ahead of the antenna, behind it is negative")
    starboard_m: float | None = between(
        -10.0, 10.0, default=None, why="transducer to starboard of the antenna, to port is negative")
    beam_deg: float | None = between(1.0, 90.0, default=None, why="full width of the beam between half power points")
    frequency_khz: float | None = between(10.0, 3000.0, default=None, why="what sounders work at")
    pulse_ms: float | None = between(0.001, 20.0, default=None, why="length of one ping")
    nominal_sound_speed_mps: float | None = between(
        1300.0, 1700.0, default=None, why="what the sounder assumes: 1500, \"4800 ft/s\", or \"unknown\"")
    gain_law: str | None = one_of(
        "none", "20logR", "40logR", "20logR+absorption", "40logR+absorption", "auto", default=None,
        why="gain over range applied to levels; auto: nobody knows it, such levels are no dB")
    latency_s: float | None = between(
        -5.0, 5.0, default=None, why="depth behind fix; a longer one is a wrong clock: clock_offset_s")
    drafts: tuple[DraftSpan, ...] = ()
    speed_unknown: bool = False


@dataclass(frozen=True)
class Clock(Settings):
    """What boat.toml says of the boat's clock: seconds that it is ahead of the true time."""

    clock_offset_s: float | None = between(
        -90_000.0, 90_000.0, default=None, why="a recorder's clock is off by a time zone and a bit at most")


@dataclass(frozen=True)
class Boat:
    """One boat.toml: its name as a file, and its sounders."""

    source: str
    sounders: tuple[Sounder, ...]
    clock_offset_s: float | None = None


@dataclass(frozen=True)
class LogRule:
    """One ``[[log]]`` of lake.toml, counted from 1: of logs whose name matches, which sentences to take and which
    sounder made them."""

    number: int
    match: str
    talker: str | None = None
    sentence: str | None = None
    sounder: str | None = None

    def fits(self, name: str) -> bool:
        """Whether the rule speaks of a log of this name; ``*`` and ``?`` as in a shell, capitals do not matter."""
        return fnmatchcase(name.lower(), self.match.lower())
