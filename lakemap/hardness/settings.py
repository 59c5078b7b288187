"""Settings of the hardness stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lakemap.errors import SettingError
from lakemap.limits import Settings, above, at_least, between, one_of
from lakemap.physics.reflection import HARD_AT_LOSS_DB, LOSS_OF_HARDEST_DB, LOSS_OF_SOFTEST_DB, SOFT_AT_LOSS_DB


@dataclass(frozen=True)
class HardnessSettings(Settings):
    """What is taken where a log does not say it, error budget, and cut points of the screen reading.

    Raises SettingError for a value outside its range, or thresholds in the wrong order.
    """

    hard_at: float = between(
        LOSS_OF_HARDEST_DB, LOSS_OF_SOFTEST_DB, default=HARD_AT_LOSS_DB,
        why="bottom loss [dB] at or below which a bottom is hard; the scale runs from rock to clay",
    )
    soft_at: float = between(
        LOSS_OF_HARDEST_DB, LOSS_OF_SOFTEST_DB, default=SOFT_AT_LOSS_DB,
        why="bottom loss [dB] above which a bottom is soft; the scale runs from rock to clay",
    )
    gain_law: Literal[
        "none", "20logR", "40logR", "20logR+absorption", "40logR+absorption", "auto"
    ] | None = one_of(
        "none", "20logR", "40logR", "20logR+absorption", "40logR+absorption", "auto", default=None,
        why="what the receiver adds with range where the log does not say it; left out: found from the levels "
        "themselves where they tell it, else none",
    )
    frequency_khz: float = between(
        10.0, 1000.0, default=200.0,
        why="where the log does not say it; most boats carry 200 kHz, common practice of the trade; absorption alone "
        "hangs on it, 0.2 dB at 10 m",
    )
    water_c: float = between(
        0.0, 40.0, default=15.0, why="degC for absorption where none was logged; a lake in its open season"
    )
    salinity: float = between(
        0.0, 42.0, default=0.0, why="practical salinity for absorption; 0 is fresh water, which has a law of its own"
    )
    beam_deg: float = between(
        2.0, 90.0, default=20.0, why="full angle to -3 dB where the log does not say it; common practice of the trade"
    )
    surface_loss_db: float = at_least(
        0.0, default=0.0, why="lost where the second echo turns at the surface, beside what the wind does to it"
    )
    wind_mps: float | None = between(
        0.0, 25.0, default=None,
        why="wind while recording roughens the surface where the second echo turns; left out: 2, a light breeze",
    )
    fast_mps: float = above(
        0.0, default=5.0, why="from this speed on bubbles in waves may hide the second echo; practice, no source"
    )
    saturation_db: float | None = between(
        -300.0, 300.0, default=None, why="level that the sounder cannot exceed; left out: found from levels piled up"
    )
    floor_sigma_db: float | None = at_least(
        0.0, default=None, why="floors are no mirrors: what roughness does to a loss; left out: found from how "
        "readings beside each other differ, 1 dB where a log has too few"
    )
    surface_loss_sigma_db: float = at_least(0.0, default=1.0, why="ripple between days; an assumption")
    level_sigma_db: float = above(
        0.0, default=1.5,
        why="standard error of one echo's level where a log is too short to show it; an assumption, no source",
    )
    absorption_sigma_share: float = at_least(
        0.0, default=0.25, why="error of absorption as a share of it: 10 degC off, or another 5 % of frequency"
    )
    pulse_ms: float = above(0.0, default=0.2, why="where the log does not say it; common practice of the trade")
    geometric_share: float = between(
        0.005, 0.1, default=0.03,
        why="how near twice the depth a second bottom is the bounced echo and its place no news",
    )
    gap_hard_at: float = above(
        0.0, default=0.25,
        why="visible gap as a share of depth at or below which a floor reads hard; practice, no source",
    )
    gap_soft_at: float = above(
        0.0, default=0.5,
        why="visible gap as a share of depth from which a floor reads soft; practice, no source",
    )
    screen_sigma: float = between(
        0.2, 0.5, default=0.25,
        why="standard error of a reading off the screen; three steps cannot be finer than 0.2",
    )
    unscaled_sigma: float = at_least(
        0.0, default=0.1, why="added to screen readings that nothing puts on the levels' scale; an assumption"
    )
    join_m: float = above(0.0, default=15.0, why="how near readings must lie to be compared, in metres")
    join_places: int = at_least(3, default=5, why="fewer places than this say little of an offset between two logs")
    tail_share: float = above(
        0.0, default=0.15, why="a first echo longer than the log's usual one by this share of depth may be boulders"
    )
    levels: Literal["auto", "db", "counts"] = one_of(
        "auto", "db", "counts", default="auto",
        why="what levels are; auto: whole numbers from 0 up in all rows of a log are counts of a display, else dB",
    )
    classes: Literal["auto", "standard", "words"] = one_of(
        "auto", "standard", "words", default="auto",
        why="standard: soft, medium, hard; words: those of the bottom samples; auto: words once samples are enough",
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        self._in_order("hard_at", "soft_at", "less loss is harder")
        self._in_order("gap_hard_at", "gap_soft_at", "a closer second bottom is harder")

    def _in_order(self, low: str, high: str, why: str) -> None:
        if not getattr(self, low) < getattr(self, high):
            raise SettingError(
                f"[{self.section()}] {low} = {getattr(self, low):g}: must be below {high} = {getattr(self, high):g} "
                f"({why}); leave both out for the defaults"
            )
