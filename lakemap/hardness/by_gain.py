"""Logs told apart by the gain that was set by hand: each setting is an instrument of its own."""

from __future__ import annotations

import dataclasses

import numpy as np

from lakemap.hardness.reading import Mask
from lakemap.model.soundings import Soundings

FEWEST_ROWS = 60
"""Rows with a level or a note that a setting needs to stand alone: twice what its own level is learnt from."""
MOST_SETTINGS = 8
"""Settings of one log that stand alone; a gain that takes more is hardly set by hand (own choice)."""


def by_gain(soundings: Soundings) -> Soundings:
    """The same rows, each log's common settings as logs of their own behind all others; codes of logs stay.

    Rows whose gain is rare or not noted keep their log: there only differences of two levels are sure, and a level
    that wanders is found out (own_level.py).
    """
    log, logs = soundings.log.copy(), list(soundings.logs)
    gain = soundings.gain_setting
    for code, facts in enumerate(soundings.logs):
        rows = np.flatnonzero((soundings.log == code) & np.isfinite(gain) & _tells(soundings))
        settings, count = np.unique(gain[rows], return_counts=True)
        if len(settings) < 2:
            continue
        order = np.lexsort((settings, -count))[:MOST_SETTINGS]
        common = [float(settings[k]) for k in order if count[k] >= FEWEST_ROWS]
        for setting in sorted(common):
            log[(soundings.log == code) & (gain == setting)] = len(logs)
            logs.append(dataclasses.replace(facts, name=f"{facts.name} at gain {setting:g}"))
    if len(logs) == len(soundings.logs):
        return soundings
    return dataclasses.replace(soundings, log=log, logs=tuple(logs))


def _tells(soundings: Soundings) -> Mask:
    levels = np.isfinite(soundings.first_echo_db) | np.isfinite(soundings.second_echo_db)
    return np.asarray(levels | (soundings.second_seen >= 0) | np.isfinite(soundings.second_bottom_m))
