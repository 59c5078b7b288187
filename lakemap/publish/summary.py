"""summary.json: every number of the report, and the record that a folder is finished."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from lakemap.errors import LakemapError
from lakemap.geo.agreement import agreement_of, disagreement_said, with_bias
from lakemap.model.agreement import Agreement
from lakemap.model.crossovers import Crossovers
from lakemap.model.flags import count_first_faults, count_notes
from lakemap.model.lake_map import LakeMap
from lakemap.model.log_facts import LogFacts
from lakemap.model.outputs import FORMAT
from lakemap.model.soundings import NO_PASS, Correction, Soundings
from lakemap.model.surface import LeftOut, Surface, VariogramTold
from lakemap.model.terrain import DepthAreaVolume
from lakemap.publish.bottom_figures import bottom_figures
from lakemap.publish.reader_unit import choose_unit
from lakemap.publish.water_figures import water_figures
from lakemap.publish.wording import printable
from lakemap.units import fill_lengths
from lakemap.version import VERSION

__all__ = ["choose_unit", "summary_head", "summary_json", "summary_of_map"]

DIGITS = 6
"""Significant digits of computed figures: far more than any of them is good for."""

_NO_FACTS = ("name", "sha256", "reader", "rows_in", "origins")


def summary_head(
    soundings: Soundings, crossovers: Crossovers, unit: str, messages: Iterable[str] = (),
    agreement: Agreement | None = None,
) -> dict[str, Any]:
    """What is known before any surface is made; ``lakemap check --json`` prints it.

    Raises LakemapError where rows in are not rows used plus rows flagged: a fault of our own.
    """
    used = int(np.count_nonzero(soundings.usable()))
    flagged = count_first_faults(soundings.flags)
    agreement = agreement_of(soundings, crossovers) if agreement is None else agreement
    said = dict.fromkeys([*disagreement_said(agreement), *soundings.messages, *messages])
    head: dict[str, Any] = _plain({
        "format": FORMAT, "version": VERSION, "units": unit,
        "logs": [_log(soundings, code, facts) for code, facts in enumerate(soundings.logs)],
        "rows": {"in": len(soundings), "used": used, "flagged": sum(flagged.values()), "by_flag": flagged},
        "passes": len(np.unique(soundings.pass_id[soundings.pass_id != NO_PASS])),
        "crossovers": {
            "n": len(crossovers), "median_abs_m": crossovers.median_abs_m, "rms_m": crossovers.rms_m,
        } | _agreement(agreement),
        "common_error": {"offset_m": soundings.common_offset_m, "scale": soundings.common_scale} | _parts(soundings),
        "corrections": [_correction(one) for one in soundings.corrections],
        "messages": [fill_lengths(text, unit) for text in said],
    })
    return head


def summary_of_map(lake_map: LakeMap, unit: str, files: Mapping[str, Any]) -> dict[str, Any]:
    """The whole of summary.json; ``files`` tells size and SHA-256 of each other file."""
    said = list(lake_map.messages)
    warm = lake_map.temperature
    for part in (lake_map.shore, lake_map.depth, lake_map.hardness, lake_map.bottom, lake_map.terrain, warm,
                 warm and warm.surface):
        said += part.messages if part is not None else ()
    bias = lake_map.depth.pass_bias
    before = with_bias(lake_map.crossovers, bias)
    agreement = agreement_of(lake_map.soundings, before, bias)
    head = summary_head(lake_map.soundings, lake_map.crossovers, unit, said, agreement)
    hardness = lake_map.hardness
    made: dict[str, Any] = _plain({
        "name": lake_map.name,
        "surfaces": {
            "depth": _surface(lake_map.depth), "hardness": None if hardness is None else _surface(hardness),
            "water_temperature": None if warm is None else _surface(warm.surface) | {
                "period": warm.period, "common_error": warm.common_c},
        },
        "pass_bias": [
            {"pass_id": number, "bias_m": value, "sigma_m": sigma}
            for number, value, sigma in zip(bias.pass_id, bias.bias_m, bias.sigma_m, strict=True)
        ],
        "volume": _volume(lake_map.terrain.table),
        "bottom": bottom_figures(lake_map.bottom), "water": water_figures(lake_map.water),
        "spots": len(lake_map.spots),
    })
    return head | made | {
        "settings": _plain(lake_map.settings, digits=15), "inputs": _plain(dict(sorted(lake_map.inputs.items()))),
        "files": dict(files),
    }


def summary_json(summary: Mapping[str, Any]) -> str:
    """A summary as text, in the contract's order of keys; nothing in it is NaN."""
    return json.dumps(summary, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _log(soundings: Soundings, code: int, facts: LogFacts) -> dict[str, Any]:
    flags = soundings.flags[soundings.log == code]
    flagged = count_first_faults(flags)
    used = len(flags) - sum(flagged.values())
    rows_in = facts.rows_in or len(flags)
    if rows_in != used + sum(flagged.values()):
        raise LakemapError(
            f"{facts.name}: {rows_in} rows came in but {used} are used and {sum(flagged.values())} flagged; "
            "please report it with the file"
        )
    known = {
        spec.name: getattr(facts, spec.name) for spec in dataclasses.fields(facts)
        if spec.name not in _NO_FACTS and getattr(facts, spec.name) not in (None, ())
    }
    return {
        "name": facts.name, "sha256": facts.sha256, "reader": facts.reader, "rows_in": rows_in, "rows_used": used,
        "flagged": flagged, "notes": count_notes(flags), "facts": known,
        "origins": dict(sorted(facts.origins.items())),
    } | _budget(soundings, facts.name)


def _agreement(one: Agreement) -> dict[str, Any]:
    """Crossovers before and after the passes' constant errors, beside S-44, and which passes stand out."""
    return {
        "before_bias": {"median_abs_m": one.median_before_m, "rms_m": one.rms_before_m},
        "after_bias": {"median_abs_m": one.median_after_m, "rms_m": one.rms_after_m},
        "within_s44": dict(one.within_order), "disagreeing": [dataclasses.asdict(pass_) for pass_ in one.disagreeing],
        "passes_uncrossed": one.uncrossed,
    }


def _parts(soundings: Soundings) -> dict[str, Any]:
    """What the common error is made of; nothing where cleaning left no budget."""
    return {"parts": [dataclasses.asdict(part) for part in soundings.budget.common]} if soundings.budget else {}


def _budget(soundings: Soundings, name: str) -> dict[str, Any]:
    """What a log's sigma is made of; nothing where cleaning left no budget for it."""
    logs = soundings.budget.logs if soundings.budget else ()
    return next(({"error_budget": dict(log.parts) | {"total": log.total_m, "shared": log.shared_m}}
                 for log in logs if log.log == name), {})


def _correction(one: Correction) -> dict[str, Any]:
    told: dict[str, Any] = {"name": one.name, "before_m": one.before_m, "after_m": one.after_m}
    if math.isfinite(one.shift_m):
        told |= {"shift_m": one.shift_m}
    return told if one.measure == Correction.measure else told | {"measure": one.measure}


def _surface(surface: Surface) -> dict[str, Any]:
    """Figures are in the surface's own ``unit``, whatever a key's ending says: hardness has none."""
    return {
        "method": surface.method, "unit": surface.estimate.unit, "pixel_m": surface.frame.pixel_m,
        "model": dict(surface.model), "variogram": _variogram(surface.variogram),
        "left_out": _left_out(surface.left_out), "share_drawn": surface.share_drawn,
        "rivals": [
            {"method": one.method, "rmse_m": one.rmse, "bias_m": one.bias, "told": one.told, "n": one.n}
            for one in surface.rivals
        ],
    }


def _variogram(told: VariogramTold | None) -> dict[str, Any] | None:
    """How readings differ with distance and what the model expects, in the surface's own unit squared."""
    if told is None:
        return None
    return {"lag_m": told.lag_m, "gamma": told.gamma, "expected": told.expected, "pairs": told.pairs}


def _volume(table: DepthAreaVolume) -> dict[str, Any]:
    """Area and volume of all that is drawn, with their interval where realisations were asked for."""
    if not len(table.depth_m):
        return {"area_m2": 0.0, "volume_m3": 0.0, "interval": None}
    ends = table.intervals
    interval = None if ends is None else {
        "share": ends.share, "realisations": ends.realisations,
        "area_m2": [ends.area_low_m2[0], ends.area_high_m2[0]],
        "volume_m3": [ends.volume_low_m3[0], ends.volume_high_m3[0]],
    }
    return {"area_m2": table.area_m2[0], "volume_m3": table.volume_m3[0], "interval": interval}


def _left_out(figures: LeftOut | None) -> dict[str, Any] | None:
    if figures is None:
        return None
    return {
        "rmse_m": figures.rmse, "bias_m": figures.bias, "within_1_96": figures.within_1_96, "by": figures.by,
        "n": figures.n, "reliability": [list(pair) for pair in figures.reliability],
    }


def _plain(value: Any, digits: int = DIGITS) -> Any:
    """Plain JSON values: floats to so many significant digits, null for NaN and infinity, lists for tuples."""
    if isinstance(value, Mapping):
        return {printable(str(key)): _plain(inner, digits) for key, inner in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [_plain(inner, digits) for inner in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.{digits}g}") if math.isfinite(value) else None
    return value if value is None else printable(str(value))
