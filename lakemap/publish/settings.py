"""Settings of publish/."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, one_of
from lakemap.publish.html_map.basemap import basemap


@dataclass(frozen=True)
class PublishSettings(Settings):
    """What readers of the results get to see."""

    units: str | None = one_of("m", "ft", default=None, why="left out, the unit that most depths came in")
    contour_m: float | None = above(0, default=None, why="depth between contours; left out, chosen from the relief")
    pass_tolerance_m: float = above(0, default=1.0, why="how far a simplified pass line may leave the track sailed")
    basemap: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.basemap is not None:
            basemap(self.basemap)
