"""What is to be said of a reading of hardness: where it came from, what bounds it, why a row gives none."""

from __future__ import annotations

from enum import IntFlag


class HardnessNote(IntFlag):
    """Bits of the column ``hardness_notes``; SENTENCES says each of them."""

    both_echoes = 1 << 0
    first_alone = 1 << 1
    second_alone = 1 << 2
    screen = 1 << 3
    at_most = 1 << 4
    at_least = 1 << 5
    range_short = 1 << 6
    range_unknown = 1 << 7
    too_quiet = 1 << 8
    slope = 1 << 9
    over_cover = 1 << 10
    at_speed = 1 << 11
    saturated = 1 << 12
    no_levels = 1 << 13
    counts = 1 << 14
    contradiction = 1 << 15
    above_bottom = 1 << 16
    no_gap = 1 << 17
    scatter = 1 << 18
    layered = 1 << 19
    gas = 1 << 20
    joined = 1 << 21
    calibrated = 1 << 22
    sample_differs = 1 << 23


KINDS = HardnessNote.both_echoes | HardnessNote.first_alone | HardnessNote.second_alone | HardnessNote.screen
LEVELS = HardnessNote.both_echoes | HardnessNote.first_alone | HardnessNote.second_alone
DOUBTS = HardnessNote.scatter | HardnessNote.layered | HardnessNote.gas | HardnessNote.sample_differs

SENTENCES: dict[HardnessNote, str] = {
    HardnessNote.both_echoes: "levels of the first and second echo",
    HardnessNote.first_alone: "level of the first echo alone, against this sounder's own levels elsewhere",
    HardnessNote.second_alone: "level of the second echo alone, against this sounder's own levels elsewhere",
    HardnessNote.screen: "read off the screen",
    HardnessNote.at_most: "at most so hard: no second echo was heard though it could have shown",
    HardnessNote.at_least: "at least so hard: the second echo was heard although something weakened it",
    HardnessNote.range_short: "no second bottom, but the display range was too short to show one",
    HardnessNote.range_unknown: "no second bottom, and the display range is not known",
    HardnessNote.too_quiet: "no second echo, where even that of a hard floor could be too weak to be heard",
    HardnessNote.slope: "on a slope that sends the second echo out of the beam",
    HardnessNote.over_cover: "no second echo over weed or cover, which hide it from any floor",
    HardnessNote.at_speed: "no second echo from a boat at speed in waves, where bubbles swallow it",
    HardnessNote.saturated: "an echo as loud as the sounder can show: its level is a bound",
    HardnessNote.no_levels: "the second echo far too strong for the first: saturated, or levels that are not dB",
    HardnessNote.counts: "levels are counts of a display or of an automatic gain, not dB, else say hardness.levels=db",
    HardnessNote.contradiction: "a second bottom with a depth, but noted as none",
    HardnessNote.above_bottom: "the second bottom at or above the bottom itself, not below the end of the first",
    HardnessNote.no_gap: "no gap: the second bottom not below the end of the first",
    HardnessNote.scatter: "a long first echo and a weak second one: boulders or riprap may scatter it",
    HardnessNote.layered: "sounders of two frequencies differ here: perhaps a thin soft layer over something hard",
    HardnessNote.gas: "a hard patch in the flat soft deep: perhaps gas in the mud",
    HardnessNote.joined: "put on one scale with the other logs where they meet",
    HardnessNote.calibrated: "calibrated on bottom samples",
    HardnessNote.sample_differs: "a bottom sample here says otherwise",
}


def sentences_of(bits: int) -> list[str]:
    """The sentences of all bits that are set, in their order."""
    return [text for note, text in SENTENCES.items() if bits & note]
