"""What is known of one log beside its rows: where it came from and the sounder that made it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

DepthReference = Literal["transducer", "surface", "keel"]
GainLaw = Literal["none", "20logR", "40logR", "20logR+absorption", "40logR+absorption", "auto"]
"""What a receiver adds with range r: so many log10 r, with or without 2 alpha r; ``auto``: a gain nobody knows."""

NOT_SAID = "nothing said it"
"""Origin of a depth reference that neither file nor owner told."""


class DraftSpan(NamedTuple):
    """A draft [m] that held from one time until another [s since 1970]: a transducer raised or lowered, a load."""

    from_s: float
    until_s: float
    draft_m: float


@dataclass(frozen=True)
class LogFacts:
    """One log. ``rows_in``: data rows of a table, depth sentences of the chosen kind of an NMEA log.

    A fact that is None is not known; ``origins`` says for each fact that is where it came from.
    ``datum_offset_m`` is what DPT's second field carried: positive, transducer to waterline; negative, to keel.
    ``draft_m`` is the true draft where it is known, ``drafts`` what it was in some spans of time;
    ``included_draft_m`` what the sounder itself had added to depths that count from the surface.
    ``sounder`` is its name in boat.toml; ``forward_m, starboard_m`` from antenna to transducer; ``latency_s`` depth
    behind fix, ``clock_offset_s`` the log's clock ahead of the true one.
    ``single``: readings taken one by one (line, pole, hole in the ice, castings), of which no pass may be made;
    ``acoustic`` is False where no sound took part (line, pole): neither draft nor sound speed belongs to such a depth.
    ``from_midnight``: without a date ``time_s`` counts from a midnight; False: running seconds of no known start.
    """

    name: str
    sha256: str = ""
    reader: str = ""
    rows_in: int = 0
    depth_reference: DepthReference = "surface"
    depth_unit: str = "m"
    draft_m: float | None = None
    datum_offset_m: float | None = None
    nominal_sound_speed_mps: float | None = None
    frequency_khz: float | None = None
    pulse_ms: float | None = None
    beam_deg: float | None = None
    gain_law: GainLaw | None = None
    has_time: bool = True
    has_date: bool = True
    origins: Mapping[str, str] = field(default_factory=dict)
    sounder: str | None = None
    drafts: tuple[DraftSpan, ...] = ()
    included_draft_m: float | None = None
    forward_m: float | None = None
    starboard_m: float | None = None
    latency_s: float | None = None
    clock_offset_s: float | None = None
    single: bool = False
    acoustic: bool = True
    from_midnight: bool = True

    @property
    def reference_known(self) -> bool:
        """Whether file or owner said what the depths count from."""
        return self.origins.get("depth_reference", NOT_SAID) != NOT_SAID
