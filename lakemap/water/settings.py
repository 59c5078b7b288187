"""What the owner seeks in the water, and how long a profile counts."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, at_least, between


@dataclass(frozen=True)
class WaterSettings(Settings):
    """Nothing asked for: the layers are told and no band."""

    least_c: float | None = between(-1.0, 40.0, default=None, why="coldest water that suits what is sought")
    most_c: float | None = between(-1.0, 40.0, default=None, why="warmest water that suits what is sought")
    least_oxygen_mgl: float | None = at_least(0.0, default=None, why="least oxygen that suits what is sought")
    holds_days: float = above(0.0, default=21.0, why="weather moves a thermocline within weeks; common practice")

    @property
    def seeks(self) -> bool:
        """Whether anything was asked for."""
        return not (self.least_c is None and self.most_c is None and self.least_oxygen_mgl is None)
