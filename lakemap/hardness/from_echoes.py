"""The stage: two kinds of reading, reported apart, joined on one scale."""

from __future__ import annotations

import numpy as np

from lakemap.hardness.echo_levels import read_levels
from lakemap.hardness.one_scale import Offset, find_offset
from lakemap.hardness.reading import SILENCE_SENTENCES, Mask, Reading
from lakemap.hardness.screen import ScreenReading, read_screen
from lakemap.hardness.second_echo import second_echo
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

RELATIVE = "hardness is relative: it orders this lake's floors and names none until bottom samples calibrate it"


def add_hardness(soundings: Soundings, settings: HardnessSettings) -> Soundings:
    """Fill ``hardness, hardness_sigma, hardness_low, hardness_high`` of usable rows and say what was read.

    A row with both echo levels uses them; else what was seen on the screen counts, moved onto the levels' scale where
    both kinds lie near each other. NaN: not observed. Tops of weed are no floor and say nothing.
    """
    geometry = second_echo(soundings, settings)
    rows = soundings.usable() & np.isfinite(soundings.depth_m) & ~soundings.has(Flag.weed_top)
    levels = read_levels(soundings, geometry, settings).only(rows)
    screen = read_screen(soundings, geometry, settings)
    seen = screen.reading.only(rows)
    offset = find_offset(levels, seen, np.column_stack([soundings.x_m, soundings.y_m]), settings)
    both = bool(levels.observed.any() and (seen.observed & ~levels.observed).any())
    joined = levels.or_else(seen.shifted(offset.offset, offset.sigma) if both else seen)
    return soundings.with_columns(
        hardness=joined.value, hardness_sigma=joined.sigma, hardness_low=joined.low, hardness_high=joined.high
    ).with_messages(
        *_what_was_read(levels, seen, joined), *_about_laws(soundings, levels, settings),
        *_about_places(screen, seen.observed & ~levels.observed), *(_about_offset(offset, settings) if both else ()),
    )


def _what_was_read(levels: Reading, seen: Reading, joined: Reading) -> list[str]:
    silent = [(int(np.count_nonzero(joined.silence == code)), text) for code, text in SILENCE_SENTENCES.items()]
    unobserved = [f"hardness not observed in {n} rows: {text}" for n, text in silent if n]
    if not joined.observed.any():
        return ["no reading of the second bottom: no hardness", *unobserved]
    by_level, by_eye = levels.observed, seen.observed & ~levels.observed
    texts = []
    if by_level.any():
        bound = int(np.count_nonzero(by_level & np.isfinite(levels.high)))
        texts.append(
            f"hardness from echo levels in {by_level.sum()} rows; {bound} of them are upper bounds, where no second "
            "echo was heard though it could have shown"
        )
    if by_eye.any():
        none = int(np.count_nonzero(by_eye & np.isfinite(seen.high)))
        texts.append(f"hardness read off the screen in {by_eye.sum()} rows, {none} of them where none showed")
    return [*texts, *unobserved, RELATIVE]


def _about_laws(soundings: Soundings, levels: Reading, settings: HardnessSettings) -> list[str]:
    used = {int(code) for code in np.unique(soundings.log[levels.observed])}
    unknown = [facts.name for code, facts in enumerate(soundings.logs) if code in used and facts.gain_law is None]
    if not unknown:
        return []
    return [
        f"gain law of {', '.join(unknown)} not known, taken as {settings.gain_law}: each 20 log r more or less moves "
        "all its floors by 6 dB, 0.27 in hardness; say hardness.gain_law"
    ]


def _about_places(screen: ScreenReading, used: Mask) -> list[str]:
    geometric = int(np.count_nonzero(screen.geometric & used))
    elsewhere = int(np.count_nonzero(screen.elsewhere & used))
    texts = []
    if geometric:
        texts.append(
            f"{geometric} second bottoms stand at twice the depth, where every floor's does: only that they show and "
            "how strongly counts"
        )
    if elsewhere:
        texts.append(
            f"{elsewhere} second bottoms stand away from twice the depth: read as the trade does, near hard and far "
            "soft, which has no source"
        )
    return texts


def _about_offset(offset: Offset, settings: HardnessSettings) -> list[str]:
    if offset.places:
        return [
            f"screen readings moved by {offset.offset:+.2f} (sigma {offset.sigma:.2f}) onto the scale of the echo "
            f"levels, from {offset.places} places with both"
        ]
    return [
        f"screen readings and echo levels meet in fewer than {settings.join_places} places: left unscaled, with "
        f"{settings.unscaled_sigma:g} more sigma"
    ]
