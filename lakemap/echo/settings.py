"""Settings of finding what stands on the floor: each with its range and the reason for it."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, at_least, between


@dataclass(frozen=True)
class EchoSettings(Settings):
    """What a rise must be to count as a hit, and how well places are known; SI units."""

    rise_m: float = above(0.0, default=0.3, why="lower things are lost in the relief of any floor")
    rise_longest_m: float = above(0.0, default=12.0, why="what is longer is shape of the floor, not something on it")
    floor_window_m: float = above(0.0, default=9.0, why="half length of the running floor along a pass")
    support_m: float = above(
        0.0, default=10.0, why="two sightings of one thing lie within a few position errors of each other")
    support_height_ratio: float = above(
        1.0, default=3.0, why="sightings of one thing do not differ in height by more than this factor")
    assumed_beam_deg: float = between(
        1.0, 90.0, default=20.0, why="full beam angle where the log does not tell it; common for 200 kHz")
    position_sigma_m: float = above(
        0.0, default=2.5, why="standard error of a fix along one axis where the log does not tell it")
    mark_sigma_m: float = above(
        0.0, default=8.0, why="a mark is tapped after the thing was passed; common practice of the trade, no source")
    catch_sigma_m: float = above(
        0.0, default=20.0, why="a catch is logged where it was landed, minutes and a drift after the bite; no source")
    aboard_m: float = above(
        0.0, default=25.0, why="a mark no farther from where a logging boat was at its time was tapped aboard it")
    tap_lag_s: float = at_least(
        0.0, default=4.0, why="how late a mark is tapped, give or take, before its file shows it; own judgement")
    range_error_m: float = above(0.0, default=1.0, why="a range off a screen is read no better than this")
    range_error_share: float = between(
        0.0, 1.0, default=0.1, why="error of a range as a share of it, read off a screen; own judgement")
    bearing_error_deg: float = between(
        0.1, 90.0, default=6.0, why="error of a bearing by compass in a moving boat; own judgement")
    aim_error_deg: float = between(
        0.1, 90.0, default=10.0, why="error of an angle from the bow, the heading's own included; own judgement")
    looked_m: float = above(
        0.0, default=15.0, why="who looks for a thing goes about the place as far as a mark may err; own judgement")
