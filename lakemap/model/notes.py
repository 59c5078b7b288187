"""Notes: what somebody wrote down at a time, with no position; a log tells where the boat was."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Notes:
    """n notes. ``time_s`` since 1970 in UTC, NaN where the note has no date; then ``clock_s`` is the time of day [s] on
    the clock of ``zone`` (text, one a note; "" is UTC).

    ``second_seen`` is an index into SECOND_SEEN or NOT_NOTED; lengths [m] are in the log's own depth reference, NaN
    where not noted; ``kind`` is a word of model/marks.py, "" where the note is of no thing; ``note`` the owner's words.
    """

    time_s: Floats
    clock_s: Floats
    zone: tuple[str, ...]
    second_seen: NDArray[np.int8]
    second_bottom_m: Floats
    first_echo_end_m: Floats
    display_range_m: Floats
    kind: tuple[str, ...]
    note: tuple[str, ...]
    source: tuple[str, ...]
    line: NDArray[np.int64]
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)

    @classmethod
    def empty(cls) -> Self:
        """No notes."""
        none = np.empty(0)
        return cls(none, none, (), np.empty(0, np.int8), none, none, none, (), (), (), np.empty(0, np.int64))

    @classmethod
    def concatenate(cls, parts: list[Self]) -> Self:
        """Several files' notes as one, in the order given."""
        if not parts:
            return cls.empty()
        joined: dict[str, Any] = {}
        for spec in dataclasses.fields(cls):
            values = [getattr(part, spec.name) for part in parts]
            whole = isinstance(values[0], tuple)
            joined[spec.name] = tuple(word for some in values for word in some) if whole else np.concatenate(values)
        return cls(**joined)
