"""What the stage has to say: what was read, what was not and why, how logs agree, what the scale rests on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lakemap.hardness.calibrate import Calibration
from lakemap.hardness.cut_points import CutPoints
from lakemap.hardness.instruments import Joined
from lakemap.hardness.one_scale import Offset
from lakemap.hardness.reading import Mask, Reading
from lakemap.hardness.receiver import Receiver
from lakemap.hardness.screen import ScreenReading
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.bottom import FEWEST_SAMPLES, samples_words
from lakemap.model.hardness_notes import DOUBTS, SENTENCES, HardnessNote
from lakemap.model.samples import BottomSamples
from lakemap.model.soundings import Soundings

RELATIVE = "hardness is relative: it orders this lake's floors and names none until bottom samples calibrate it"
SILENT = (
    HardnessNote.range_short, HardnessNote.range_unknown, HardnessNote.too_quiet, HardnessNote.slope,
    HardnessNote.over_cover, HardnessNote.at_speed, HardnessNote.saturated, HardnessNote.no_levels, HardnessNote.counts,
    HardnessNote.contradiction, HardnessNote.above_bottom, HardnessNote.no_gap,
)
"""Reasons for which a row may give nothing, in the order in which one of several is told."""


@dataclass(frozen=True)
class Told:
    """Everything the stage found, before it is put into words."""

    levels: Reading
    seen: Reading
    reading: Reading
    screen: ScreenReading
    heard: tuple[Receiver, ...]
    joined: Joined | None
    offsets: dict[str, Offset]
    calibration: Calibration
    samples: BottomSamples
    differs: Mask
    cuts: CutPoints


def messages_of(told: Told, soundings: Soundings, settings: HardnessSettings) -> list[str]:
    """One line for each thing a reader should know."""
    if not told.reading.observed.any():
        return ["no reading of the second bottom: no hardness", *_silent(told.reading), *told.samples.messages]
    by_eye = told.seen.observed & ~told.levels.observed
    return [
        *_kinds(told, by_eye), *_silent(told.reading), *_laws(told, soundings), *_saturated(told, soundings),
        *_places(told.screen, told.cuts, by_eye), *_joins(told, soundings), *_screens(told, settings), *_doubtful(told),
        *told.samples.messages, *_scale(told),
    ]


def _kinds(told: Told, by_eye: Mask) -> list[str]:
    by_level, texts = told.levels.observed, []
    if by_level.any():
        bound = int(np.count_nonzero(by_level & told.levels.censored))
        alone = int(np.count_nonzero(told.levels.has(HardnessNote.first_alone) & by_level))
        texts.append(
            f"hardness from echo levels in {by_level.sum()} rows; {bound} of them are bounds, where no second echo was "
            "heard though it could have shown or something weakened it"
        )
        if alone:
            texts.append(f"{alone} of these rest on the first echo alone, against the sounder's own level elsewhere")
    if by_eye.any():
        none = int(np.count_nonzero(by_eye & np.isfinite(told.seen.high)))
        texts.append(f"hardness read off the screen in {by_eye.sum()} rows, {none} of them where none showed")
    return texts


def _silent(reading: Reading) -> list[str]:
    left, texts = ~reading.observed, []
    for note in SILENT:
        rows = left & reading.has(note)
        if rows.any():
            texts.append(f"hardness not observed in {rows.sum()} rows: {SENTENCES[note]}")
        left &= ~rows
    return texts


def _laws(told: Told, soundings: Soundings) -> list[str]:
    used = {int(code) for code in np.unique(soundings.log[told.levels.observed])}
    texts = []
    for origin in ("found", "assumed"):
        logs = [code for code, one in enumerate(told.heard) if code in used and one.origin == origin]
        if logs and origin == "found":
            names = ", ".join(f"{soundings.logs[code].name} {told.heard[code].law}" for code in logs)
            texts.append(f"gain law not said but told by the levels themselves: {names}")
        elif logs:
            names = ", ".join(soundings.logs[code].name for code in logs)
            texts.append(
                f"gain law of {names} not known, taken as none: each 20 log r more or less moves all its floors by "
                "6 dB, 0.27 in hardness; say hardness.gain_law"
            )
    return texts


def _saturated(told: Told, soundings: Soundings) -> list[str]:
    return [
        f"levels of {soundings.logs[code].name} end at {one.clip_db:g} dB: such a level is a bound, not a value"
        for code, one in enumerate(told.heard) if np.isfinite(one.clip_db)
    ]


def _places(screen: ScreenReading, cuts: CutPoints, used: Mask) -> list[str]:
    geometric = int(np.count_nonzero(screen.geometric & used))
    elsewhere = int(np.count_nonzero(screen.elsewhere & used))
    texts = []
    if geometric:
        texts.append(
            f"{geometric} second bottoms stand at twice the depth, where every floor's does: only that they show and "
            "how strongly counts"
        )
    if elsewhere and cuts.samples:
        texts.append(
            f"{elsewhere} second bottoms stand away from twice the depth: hard where the gap is up to "
            f"{cuts.hard_at:.2f} of the depth, soft from {cuts.soft_at:.2f} on, as {samples_words(cuts.samples)} "
            "beside such notes tell"
        )
    elif elsewhere:
        texts.append(
            f"{elsewhere} second bottoms stand away from twice the depth: read as the trade does, near hard and far "
            "soft, which has no source"
        )
    return texts


def _joins(told: Told, soundings: Soundings) -> list[str]:
    texts: list[str] = []
    if told.joined is None:
        return texts
    joined = told.joined
    for code in np.unique(soundings.log[told.levels.observed]).tolist():
        name = soundings.logs[code].name
        if joined.places[code]:
            texts.append(
                f"{name} meets other logs in {joined.places[code]} places and is {joined.offset[code]:+.2f} in "
                f"hardness and {joined.scale[code]:.2f} in scale from the common one (sigma {joined.error[code]:.2f})"
            )
        elif joined.by_samples[code]:
            texts.append(
                f"{name} meets no other log: {samples_words(int(joined.by_samples[code]))} beside its own readings "
                f"move{'s' if joined.by_samples[code] == 1 else ''} its hardness by {-joined.offset[code]:+.2f} "
                f"(sigma {joined.error[code]:.2f})"
            )
        elif joined.error[code] > 0:
            texts.append(f"{name} meets no other log: its hardness may be off by {joined.error[code]:.2f} from theirs")
    return texts


def _screens(told: Told, settings: HardnessSettings) -> list[str]:
    texts = []
    for name, one in told.offsets.items():
        if one.places:
            texts.append(
                f"screen readings of {name} moved by {one.offset:+.2f} (sigma {one.sigma:.2f}) onto the scale of the "
                f"echo levels, from {one.places} places with both"
            )
        else:
            texts.append(
                f"screen readings of {name} and echo levels meet in fewer than {settings.join_places} places: left "
                f"unscaled, with {settings.unscaled_sigma:g} more sigma"
            )
    return texts


def _doubtful(told: Told) -> list[str]:
    return [
        f"hardness in doubt in {count} rows: {SENTENCES[note]}"
        for note in HardnessNote if note & DOUBTS and (count := int(np.count_nonzero(told.reading.has(note))))
    ]


def _scale(told: Told) -> list[str]:
    made = told.calibration
    if not made.samples:
        return [RELATIVE, *(["bottom samples lie too far from all readings to calibrate hardness"]
                            if told.samples.use.any() else [])]
    differ = [f"{told.samples.word[i]} in line {told.samples.line[i]}" for i in np.flatnonzero(told.differs)]
    rests_on = samples_words(made.samples)
    texts = [
        f"hardness calibrated on {rests_on}; left out one at a time, {made.told_right} of them are "
        f"given their own class (soft, medium, hard), {made.balanced:.0%} when each class counts alike"
        if made.samples >= FEWEST_SAMPLES else
        f"hardness is nearly relative: only {rests_on} near readings; {FEWEST_SAMPLES} or more, of different "
        "floors, tell how far its classes hold"
    ]
    if differ:
        texts.append(f"bottom samples that readings beside them contradict: {', '.join(differ)}")
    return texts
