"""What is known of one log beside its rows: where it came from and the sounder that made it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

DepthReference = Literal["transducer", "surface", "keel"]
GainLaw = Literal["none", "20logR", "40logR"]


@dataclass(frozen=True)
class LogFacts:
    """One log. ``rows_in``: data rows of a table, depth sentences of the chosen kind of an NMEA log.

    A fact that is None is not known; ``origins`` says for each fact that is where it came from.
    ``datum_offset_m`` is what DPT's second field carried: positive, transducer to waterline; negative, to keel.
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
