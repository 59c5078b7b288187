"""Soundings: every row ever read, as columns; rows are flagged, never dropped."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.errors import InputError
from lakemap.model.error_budget import ErrorBudget
from lakemap.model.flags import FAULT_BITS, Flag
from lakemap.model.log_facts import LogFacts
from lakemap.model.observations import Observations

if TYPE_CHECKING:
    import geopandas

Floats = NDArray[np.float64]

NO_PASS = -1
"""pass_id of a row that belongs to no pass (no position, or one alone)."""

SECOND_SEEN: tuple[str, ...] = ("none", "faint", "strong", "third")
"""Words for what was noted of the second bottom; the column holds their index, NOT_NOTED where nothing was."""
NOT_NOTED = -1

COLUMN_DTYPES: dict[str, Any] = {
    "time_s": np.float64, "time_utc": "datetime64[ms]", "log": np.int32, "row": np.int64, "pass_id": np.int32,
    "lon_deg": np.float64, "lat_deg": np.float64, "x_m": np.float64, "y_m": np.float64,
    "position_sigma_m": np.float32, "heading_deg": np.float32,
    "logged_depth_m": np.float64, "depth_m": np.float64, "depth_sigma_m": np.float32,
    "depth_shared_m": np.float32, "level_m": np.float32, "draft_m": np.float32,
    "second_bottom_m": np.float32, "first_echo_end_m": np.float32, "second_seen": np.int8,
    "first_echo_db": np.float32, "second_echo_db": np.float32, "display_range_m": np.float32,
    "gain_setting": np.float32,
    "hardness": np.float32, "hardness_sigma": np.float32, "hardness_low": np.float32, "hardness_high": np.float32,
    "hardness_notes": np.uint32, "water_c": np.float32, "flags": np.uint32,
}
"""Every column and its type (``hardness_notes``: bits of model/hardness_notes.py); float32 is enough for readings that
no sum of many rows is made of."""

_BLANKS: dict[str, Any] = {
    "log": 0, "row": 0, "pass_id": NO_PASS, "second_seen": NOT_NOTED, "hardness_notes": 0, "flags": 0,
    "time_utc": np.datetime64("NaT"),
}


def _blank(n: int, value: Any, dtype: Any) -> NDArray[Any]:
    """A column of one value; zeros take no memory until they are written to."""
    return np.zeros(n, dtype) if isinstance(value, int) and value == 0 else np.full(n, value, dtype)


@dataclass(frozen=True)
class Correction:
    """One correction as listed in the report: median disagreement of depths where passes cross, before and after it
    (where ``measure`` says so, something else), and by how much it moved depths on average.

    ``by_row`` (n,) is the shift of each row until crossovers have shown what it did; it is dropped then.
    """

    name: str
    before_m: float
    after_m: float
    shift_m: float = float("nan")
    measure: str = "crossovers"
    by_row: Floats | None = dataclasses.field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class Soundings:
    """Columns of equal length (n,), SI units; NaN is "not there".

    ``time_s`` orders the rows of a log (seconds since 1970 where the date is known, seconds of running time
    else); ``log`` indexes ``logs``; ``row`` is the line or row number in the file, from 1; ``logged_depth_m`` is the
    reading as it came, in the log's own reference; ``depth_m`` is positive down from the datum, NaN until cleaned;
    ``depth_shared_m`` is the part of depth_sigma_m that readings seconds apart share and that does not average away.
    ``level_m`` is how far the lake stood above the datum, NaN where depths stay below the surface of their day;
    ``draft_m`` is what of the day's depth lies above the transducer, as cleaning put it in, NaN until cleaned.
    ``x_m, y_m`` are on ``crs``, NaN until it is chosen. ``common_offset_m`` and ``common_scale`` are the
    common error (standard error, and share of depth) that all depths share and no crossover can show.
    """

    time_s: Floats
    time_utc: NDArray[np.datetime64]
    log: NDArray[np.int32]
    row: NDArray[np.int64]
    pass_id: NDArray[np.int32]
    lon_deg: Floats
    lat_deg: Floats
    x_m: Floats
    y_m: Floats
    position_sigma_m: NDArray[np.float32]
    heading_deg: NDArray[np.float32]
    logged_depth_m: Floats
    depth_m: Floats
    depth_sigma_m: NDArray[np.float32]
    depth_shared_m: NDArray[np.float32]
    level_m: NDArray[np.float32]
    draft_m: NDArray[np.float32]
    second_bottom_m: NDArray[np.float32]
    first_echo_end_m: NDArray[np.float32]
    second_seen: NDArray[np.int8]
    first_echo_db: NDArray[np.float32]
    second_echo_db: NDArray[np.float32]
    display_range_m: NDArray[np.float32]
    gain_setting: NDArray[np.float32]
    hardness: NDArray[np.float32]
    hardness_sigma: NDArray[np.float32]
    hardness_low: NDArray[np.float32]
    hardness_high: NDArray[np.float32]
    hardness_notes: NDArray[np.uint32]
    water_c: NDArray[np.float32]
    flags: NDArray[np.uint32]
    logs: tuple[LogFacts, ...] = ()
    crs: CRS | None = None
    datum: str = "water surface on the day"
    corrections: tuple[Correction, ...] = ()
    messages: tuple[str, ...] = ()
    common_offset_m: float = 0.0
    common_scale: float = 0.0
    budget: ErrorBudget | None = None

    def __post_init__(self) -> None:
        for name, dtype in COLUMN_DTYPES.items():
            column = getattr(self, name)
            if column.shape != self.time_s.shape or column.dtype != np.dtype(dtype):
                raise InputError(
                    f"column {name} has shape {column.shape} and type {column.dtype}; "
                    f"needed {self.time_s.shape} and {np.dtype(dtype)}: build with Soundings.build"
                )

    @classmethod
    def build(cls, n: int, logs: Sequence[LogFacts] = (), messages: Sequence[str] = (), **columns: Any) -> Self:
        """``n`` rows from the columns given (cast to their types); columns left out are blank."""
        unknown = set(columns) - set(COLUMN_DTYPES)
        if unknown:
            raise InputError(f"no such columns: {', '.join(sorted(unknown))}; known: {', '.join(COLUMN_DTYPES)}")
        made: dict[str, Any] = {
            name: np.asarray(columns[name]).astype(dtype, copy=False) if name in columns
            else _blank(n, _BLANKS.get(name, np.nan), dtype)
            for name, dtype in COLUMN_DTYPES.items()
        }
        return cls(**made, logs=tuple(logs), messages=tuple(messages))

    def __len__(self) -> int:
        return len(self.time_s)

    def with_columns(self, **columns: Any) -> Self:
        """The same rows with some columns replaced (cast to their types)."""
        cast: dict[str, Any] = {
            name: np.asarray(values).astype(COLUMN_DTYPES[name]) for name, values in columns.items()
        }
        return dataclasses.replace(self, **cast)

    def with_flag(self, flag: Flag, where: NDArray[np.bool_]) -> Self:
        """The same rows with ``flag`` added where the mask (n,) says."""
        return dataclasses.replace(self, flags=np.where(where, self.flags | np.uint32(flag.value), self.flags))

    def with_messages(self, *texts: str) -> Self:
        """The same rows with one-line messages added for the report."""
        return dataclasses.replace(self, messages=self.messages + texts)

    def with_correction(self, name: str, before_m: float, after_m: float) -> Self:
        """The same rows with one more entry in the list of corrections."""
        return dataclasses.replace(self, corrections=(*self.corrections, Correction(name, before_m, after_m)))

    def has(self, flag: Flag) -> NDArray[np.bool_]:
        """Which rows (n,) carry ``flag``."""
        carried: NDArray[np.bool_] = (self.flags & np.uint32(flag.value)) != 0
        return carried

    def usable(self) -> NDArray[np.bool_]:
        """Which rows (n,) carry no fault; notes do not count."""
        clear: NDArray[np.bool_] = (self.flags & np.uint32(FAULT_BITS)) == 0
        return clear

    @property
    def newest(self) -> np.datetime64:
        """Time of the newest row [UTC]; NaT where none has a date."""
        dated = self.time_utc[~np.isnat(self.time_utc)]
        return np.datetime64(dated.max() if len(dated) else "NaT", "ms")

    def take(self, rows: NDArray[Any]) -> Self:
        """Some rows, by index or mask, in the order given."""
        return dataclasses.replace(self, **{name: getattr(self, name)[rows] for name in COLUMN_DTYPES})

    @classmethod
    def concatenate(cls, parts: Iterable[Self]) -> Self:
        """Several logs' rows as one, in the order given; log codes are renumbered."""
        parts = list(parts)
        if not parts:
            return cls.build(0)
        if len(parts) == 1:
            return parts[0]
        starts = np.cumsum([0] + [len(part.logs) for part in parts])[:-1]
        columns: dict[str, Any] = {
            name: np.concatenate([getattr(part, name) for part in parts]) for name in COLUMN_DTYPES if name != "log"
        }
        columns["log"] = np.concatenate(
            [part.log + np.int32(start) for part, start in zip(parts, starts, strict=True)]
        ).astype(np.int32)
        logs = tuple(facts for part in parts for facts in part.logs)
        messages = tuple(text for part in parts for text in part.messages)
        return cls(**columns, logs=logs, messages=messages, crs=parts[0].crs, datum=parts[0].datum)

    def per_log(self, fact: str, missing: float = np.nan) -> Floats:
        """A numeric fact of each row's log, shape (n,); ``missing`` where the log does not know it."""
        values = [getattr(facts, fact) for facts in self.logs]
        table = np.array([missing if value is None else float(value) for value in values] or [missing])
        return np.asarray(table[self.log] if len(self) else np.empty(0), dtype=np.float64)

    def depth_that_day_m(self) -> Floats:
        """Depth below the water surface of its day (n,): what the sounder was over, whatever the datum."""
        return np.asarray(self.depth_m + np.nan_to_num(self.level_m), dtype=np.float64)

    def depth_below_transducer_m(self) -> Floats:
        """How far below the transducer the floor lay (n,): the day's depth less the draft that is in it."""
        return np.asarray(self.depth_that_day_m() - np.nan_to_num(self.draft_m), dtype=np.float64)

    def told_draft_m(self) -> Floats:
        """Draft as it is known of each row (n,): its log's, or that of the span of time the row lies in; else NaN."""
        told = self.per_log("draft_m")
        for code, facts in enumerate(self.logs):
            for span in facts.drafts if facts.has_date else ():
                within = (self.time_s >= span.from_s) & (self.time_s <= span.until_s)
                told = np.where((self.log == code) & within, span.draft_m, told)
        return told

    def observed(self, name: str, beam: bool = True) -> Observations:
        """Usable rows that carry the reading ``name`` (``depth_m`` or ``hardness``), for make_surface.

        What reads the top of weed, or a floor that has moved since, says nothing of the floor's depth. Without ``beam``
        depths go without the width of their beam, so that nothing is made of it.
        """
        value = getattr(self, name).astype(np.float64)
        bounds = (self.hardness_low, self.hardness_high) if name == "hardness" else (None, None)
        sigma = self.hardness_sigma if name == "hardness" else self.depth_sigma_m
        keep = self.usable() & np.isfinite(value) & np.isfinite(self.x_m)
        if name == "depth_m":
            keep &= ~(self.has(Flag.weed_top) | self.has(Flag.changed))
        lower, upper = (
            np.full(int(keep.sum()), np.nan) if bound is None else bound[keep].astype(np.float64) for bound in bounds
        )
        return Observations(
            name=name, xy=np.column_stack([self.x_m[keep], self.y_m[keep]]), value=value[keep],
            sigma=sigma[keep].astype(np.float64), pass_id=self.pass_id[keep],
            rise=self.has(Flag.rise)[keep], lower=lower, upper=upper,
            has_time=any(facts.has_time for facts in self.logs),
            shared=self.depth_shared_m[keep].astype(np.float64) if name == "depth_m" else None,
            beam_deg=self.per_log("beam_deg")[keep] if beam and name == "depth_m" else None,
        )

    def less_bias(self, bias: PassBias) -> Self:
        """Depths with each pass's bias subtracted; passes without one stay as they are."""
        table = dict(zip(bias.pass_id.tolist(), bias.bias_m.tolist(), strict=True))
        shift = np.array([table.get(number, 0.0) for number in self.pass_id.tolist()])
        return self.with_columns(depth_m=self.depth_m - shift)

    def to_geodataframe(self) -> geopandas.GeoDataFrame:
        """Every row as a point in WGS 84 (rows without position have an empty geometry)."""
        from lakemap.model.frames import soundings_frame

        return soundings_frame(self)


@dataclass(frozen=True)
class PassBias:
    """Constant error of each pass: ``pass_id`` (k,), ``bias_m`` (k,) to be subtracted from its depths, its sigma."""

    pass_id: NDArray[np.int32]
    bias_m: Floats
    sigma_m: Floats

    @classmethod
    def none(cls) -> Self:
        """No pass, no bias."""
        return cls(np.empty(0, np.int32), np.empty(0), np.empty(0))
