"""Why a sounding is held out, and what is known of one that stays in use."""

from __future__ import annotations

from enum import IntFlag

import numpy as np
from numpy.typing import NDArray


class Flag(IntFlag):
    """Faults hold a row out, notes do not; each row counts under its first fault in this order."""

    no_position = 1 << 0
    no_depth = 1 << 1
    bad_checksum_fix = 1 << 2
    position_jump = 1 << 3
    frozen_fix = 1 << 4
    lost_bottom = 1 << 5
    second_echo_lock = 1 << 6
    layer_lock = 1 << 7
    spike = 1 << 8
    far_outlier = 1 << 9
    duplicate = 1 << 10
    off_water = 1 << 11
    by_owner = 1 << 12
    rise = 1 << 16
    weed_top = 1 << 17
    changed = 1 << 18
    kept_by_owner = 1 << 19


FIRST_NOTE = Flag.rise
FAULTS: tuple[Flag, ...] = tuple(flag for flag in Flag if flag < FIRST_NOTE)
NOTES: tuple[Flag, ...] = tuple(flag for flag in Flag if flag >= FIRST_NOTE)
FAULT_BITS = int(sum(FAULTS))

SENTENCES: dict[Flag, str] = {
    Flag.no_position: "no position near it in time",
    Flag.no_depth: "no depth in the row",
    Flag.bad_checksum_fix: "its fix failed the checksum",
    Flag.position_jump: "the boat would have had to jump",
    Flag.frozen_fix: "the position stood still while the boat moved on",
    Flag.lost_bottom: "the sounder had lost the bottom",
    Flag.second_echo_lock: "the sounder followed the second echo at about twice the depth",
    Flag.layer_lock: "the sounder followed something in the water",
    Flag.spike: "a single depth far from its neighbours along the pass",
    Flag.far_outlier: "a depth that no other pass nearby supports",
    Flag.duplicate: "the same reading a second time",
    Flag.off_water: "the position lies on land or off this lake",
    Flag.by_owner: "marked bad by the owner",
    Flag.rise: "stands up from the floor: may be cover",
    Flag.weed_top: "top of weed, not floor",
    Flag.changed: "differs from later readings beyond their errors",
    Flag.kept_by_owner: "kept by the owner's word",
}


def first_fault(flags: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """The lowest fault bit of each row, 0 where there is none; flags shape (n,)."""
    faults = (flags & np.uint32(FAULT_BITS)).astype(np.int64)
    return (faults & -faults).astype(np.uint32)


def count_first_faults(flags: NDArray[np.uint32]) -> dict[str, int]:
    """Rows held out by reason, each row once; reasons that held nothing out are left out."""
    first = first_fault(flags)
    counts = {flag.name or "": int(np.count_nonzero(first == flag.value)) for flag in FAULTS}
    return {name: n for name, n in counts.items() if n}


def count_notes(flags: NDArray[np.uint32]) -> dict[str, int]:
    """Rows carrying each note; notes that no row carries are left out."""
    counts = {flag.name or "": int(np.count_nonzero(flags & np.uint32(flag.value))) for flag in NOTES}
    return {name: n for name, n in counts.items() if n}
