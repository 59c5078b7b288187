"""Settings of terrain/."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, at_least, between, one_of


@dataclass(frozen=True)
class TerrainSettings(Settings):
    """Radii and thresholds; none has a printed source, all are common practice of the trade or our own choice."""

    contour_m: float | None = above(0, default=None, why="depth between contours; left out, chosen from the relief")
    contour_unit: str = one_of("m", "ft", default="m", why="a chosen step is round in this unit")
    loop_m: float = at_least(0, default=15.0, why="closed contours shorter than this are left out")
    fine_inner_m: float = at_least(0, default=4.0, why="inner radius of the near ring of the position index")
    fine_outer_m: float = above(0, default=15.0, why="outer radius of the near ring of the position index")
    broad_inner_m: float = at_least(0, default=25.0, why="inner radius of the far ring of the position index")
    broad_outer_m: float = above(0, default=75.0, why="outer radius of the far ring of the position index")
    sigmas: float = above(0, default=3.0, why="a feature's relief must exceed so many of its standard errors")
    smooth_m: float = at_least(0, default=2.0, why="features are sought on a surface smoothed over this radius")
    closed_relief_m: float = above(0, default=0.5, why="least relief of a hump or hole")
    closed_area_m2: float = above(0, default=40.0, why="least area of a hump or hole")
    closed_radius_m: float = above(0, default=60.0, why="a wider closed high or low is a basin or a bar")
    steep_deg: float = between(1, 60, default=7.0, why="least slope of a drop-off")
    drop_relief_m: float = above(0, default=0.8, why="least height of a drop-off")
    drop_width_m: float = above(0, default=40.0, why="a wider band of slope is a bank, not a drop-off")
    drop_length_m: float = above(0, default=20.0, why="a shorter band of slope is the side of something small")
    section_m: float = above(0, default=120.0, why="a longer drop-off or ledge is described in sections")
    ledge_deg: float = between(0.1, 30, default=2.0, why="most slope of a ledge's step")
    ledge_side_deg: float = between(0.5, 60, default=2.5, why="least slope above and below a ledge")
    ledge_reach_m: float = above(0, default=25.0, why="how far above and below a ledge that slope is looked for")
    ledge_relief_m: float = above(0, default=0.6, why="least rise above and drop below a ledge")
    ledge_area_m2: float = above(0, default=500.0, why="least area of a ledge")
    flat_deg: float = between(0.05, 10, default=0.8, why="most slope of a flat")
    flat_area_m2: float = above(0, default=2000.0, why="least area of a flat")
    point_reach_m: float = above(0, default=60.0, why="half of the widest tongue that is called a point")
    point_length_m: float = above(0, default=20.0, why="least length of a point")
    point_relief_m: float = above(0, default=0.8, why="least depth beside a point over the depth on it")
    saddle_reach_m: float = above(0, default=30.0, why="how far to each side of a saddle the floor is looked at")
    saddle_relief_m: float = above(0, default=0.6, why="least rise and least fall away from a saddle")
    channel_width_m: float = above(0, default=40.0, why="a wider low is a basin, not a channel")
    channel_length_m: float = above(0, default=80.0, why="a shorter low is a hole")
    channel_relief_m: float = above(0, default=0.6, why="least depth of a channel below its banks")
    bend_deg: float = between(10, 120, default=35.0, why="least turn of a channel's bend")
