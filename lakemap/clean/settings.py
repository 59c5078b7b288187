"""Settings of cleaning: each with its range and the reason for it."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.errors import SettingError
from lakemap.limits import Settings, above, at_least, between, one_of

CORRECTIONS = (
    "clock", "edits", "draft", "sound speed", "lake level", "lever arm", "latency", "check depths",
    "slope within the beam",
)
"""Names of all corrections, in the order they are applied; ``clean.off`` takes them."""


@dataclass(frozen=True)
class CleanSettings(Settings):
    """What is held to be a fault, and what is known of boat and water; SI units."""

    draft_m: float | None = between(
        0.0, 5.0, default=None, why="transducer below the water surface; not given counts as 0 and is said")
    nominal_sound_speed_mps: float | None = between(
        1300.0, 1700.0, default=None, why="what the sounder assumes, often 1500; not given: not corrected")
    water_c: float | None = between(
        -2.0, 40.0, default=None, why="mean water temperature along the ping; not given: the median of what was logged")
    water: str = one_of("fresh", "brackish", "salt", default="fresh", why="salt water carries sound faster")
    full_pool_m: float | None = between(
        -500.0, 6000.0, default=None, why="elevation of the full pool, where the gauge gives elevations")
    datum: str | None = None
    max_speed_mps: float = above(0.0, default=40.0, why="faster is a GPS jump, not a boat")
    gps_noise_m: float = above(
        0.0, default=20.0, why="a step this long may be noise or rounding, however short its time")
    position_sigma_m: float = above(
        0.0, default=2.5, why="standard error of a fix along one axis where the log does not tell it")
    frozen_rows: int = at_least(
        3, default=5, why="fewer identical fixes in a row are rounding or fixes slower than pings")
    floor_window_m: float = above(0.0, default=9.0, why="half length of the running floor along a pass")
    rise_longest_m: float = above(0.0, default=12.0, why="what is longer is shape of the floor, not something on it")
    lone_rise_share: float = between(
        0.0, 1.0, default=0.5, why="one ping that stands higher than this share of the depth is a spike")
    lone_rise_m: float = above(0.0, default=3.0, why="one ping that stands higher than this is a spike")
    spike_m: float = above(0.0, default=0.5, why="smaller departures are noise or floor")
    spike_sigmas: float = above(0.0, default=5.0, why="departures within the scatter of the pass are no spikes")
    second_echo_tolerance: float = between(
        0.01, 0.3, default=0.1, why="share by which a locked depth may differ from the second echo's place")
    neighbour_cell_m: float = above(
        0.0, default=15.0, why="side of the squares in which passes are compared with each other")
    far_group_m: float = above(
        0.0, default=1000.0, why="a few rows this far from all others are not of this lake")
    shore_margin_m: float = at_least(
        0.0, default=15.0, why="a shoreline and a fix both have errors: so far outside still counts as water")
    off: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check ranges; ``off`` may come as a list (TOML) or as one text, names divided by commas."""
        super().__post_init__()
        given = self.off.split(",") if isinstance(self.off, str) else self.off
        given = given if isinstance(given, list | tuple) else ("",)
        names = tuple(str(name).strip().replace("_", " ") for name in given)
        for name in names:
            if name not in CORRECTIONS:
                raise SettingError(
                    f"[clean] off = {self.off!r}: must hold names of corrections ({', '.join(CORRECTIONS)}); "
                    "leave it out to apply what is known"
                )
        object.__setattr__(self, "off", names)

    def applies(self, correction: str) -> bool:
        """Whether a correction of CORRECTIONS is not switched off."""
        return correction not in self.off
