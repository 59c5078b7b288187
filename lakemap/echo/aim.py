"""Marks aimed off to the side: from where the boat was to where the thing is, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.echo.settings import EchoSettings
from lakemap.geo.crs import convergence_deg
from lakemap.model.marks import Marks

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Aim:
    """How far [m] and which way n marks were aimed: ``bearing_deg`` from grid north or ``aim_deg`` from the bow, both
    clockwise; NaN where not noted."""

    range_m: Floats
    bearing_deg: Floats
    aim_deg: Floats

    @classmethod
    def of(cls, marks: Marks, crs: CRS) -> Aim:
        """Of marks as their files tell it: true bearings are turned onto the grid."""
        told = np.isfinite(marks.bearing_deg)
        turn = np.full(len(marks), np.nan)
        if told.any():
            turn[told] = convergence_deg(crs, marks.lon_deg[told], marks.lat_deg[told])
        return cls(marks.range_m, marks.bearing_deg - turn, marks.aim_deg)

    @property
    def directed(self) -> NDArray[np.bool_]:
        """Which marks (n,) lie off to a side that is told."""
        return np.isfinite(self.range_m) & (np.isfinite(self.bearing_deg) | np.isfinite(self.aim_deg))

    def take(self, rows: NDArray[np.int64]) -> Aim:
        """Of some marks."""
        return Aim(self.range_m[rows], self.bearing_deg[rows], self.aim_deg[rows])

    def offset(self, heading_deg: Floats, settings: EchoSettings) -> tuple[Floats, Floats]:
        """From the boat to the thing (n, 2) [m], and its variance summed over both axes (n,) [m2].

        The error is an ellipse: along the line of sight ``range_error_m`` and a share of the range, across it the range
        times the error of the angle, larger for an aim than for a bearing. Where the boat's heading (n,) is not known
        an aim says nothing, and without a direction at all the thing lies anywhere on the circle: no offset, variance
        range squared.
        """
        away = np.nan_to_num(self.range_m)
        by_bow = ~np.isfinite(self.bearing_deg)
        angle = np.radians(np.where(by_bow, heading_deg + self.aim_deg, self.bearing_deg))
        known = np.isfinite(angle) & np.isfinite(self.range_m)
        turn = np.where(known, angle, 0.0)
        along = np.hypot(settings.range_error_m, settings.range_error_share * away)
        across = away * np.radians(np.where(by_bow, settings.aim_error_deg, settings.bearing_error_deg))
        var = np.where(known, along**2 + across**2, away**2)
        return np.where(known, away * np.array([np.sin(turn), np.cos(turn)]), 0.0).T, var
