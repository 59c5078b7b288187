"""summary.json says what happened to every row, in the contract's words."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from worlds import small_lake_map, small_soundings

from lakemap.errors import LakemapError
from lakemap.geo.crossovers import find_crossovers
from lakemap.model.crossovers import Crossovers
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.publish.settings import PublishSettings
from lakemap.publish.summary import choose_unit, summary_head, summary_json, summary_of_map

HEAD = ["format", "version", "units", "logs", "rows", "passes", "crossovers", "common_error", "corrections", "messages"]
MAP_ONLY = ["name", "surfaces", "pass_bias", "volume", "bottom", "water", "spots", "settings", "inputs", "files"]


def no_crossovers():
    "No two passes met."
    none = np.empty(0)
    return Crossovers(none, none, none, none, none, none, none, none)


def test_keys_are_the_contracts():
    "Head and the rest, in order; the head of a map is what check prints."
    made = small_lake_map()
    summary = summary_of_map(made, "m", {})
    assert list(summary) == HEAD + MAP_ONLY
    head = summary_head(made.soundings, made.crossovers, "m", [*made.messages, *made.terrain.messages])
    met = summary.pop("crossovers"), head.pop("crossovers")
    assert {key: summary[key] for key in HEAD if key != "crossovers"} == head
    for key in ("n", "median_abs_m", "rms_m", "passes_uncrossed"):
        assert met[0][key] == met[1][key]
    assert met[0]["after_bias"]["rms_m"] <= met[0]["before_bias"]["rms_m"]
    assert list(head["logs"][0])[:8] == [
        "name", "sha256", "reader", "rows_in", "rows_used", "flagged", "notes", "facts"]


def test_rows_in_are_rows_used_and_rows_flagged():
    "Each row counts once under its first fault: 3 rows that are spikes and off the water count as spikes."
    head = summary_head(small_soundings(), find_crossovers(small_soundings()), "m")
    assert head["rows"] == {"in": 558, "used": 546, "flagged": 12, "by_flag": {"lost_bottom": 4, "spike": 8}}
    first, second = head["logs"]
    assert (first["rows_in"], first["rows_used"], first["flagged"]) == (404, 392, {"lost_bottom": 4, "spike": 8})
    assert first["notes"] == {"rise": 4} and second["flagged"] == {}


def test_a_lost_row_is_a_fault_of_our_own():
    "A log whose rows do not add up is not passed over in silence."
    lost = small_soundings().take(np.arange(1, 558))
    with pytest.raises(LakemapError, match=r"evening.nmea: 404 rows came in but 392 are used and 11 flagged") as fault:
        summary_head(lost, no_crossovers(), "m")
    assert fault.value.exit_status == 70


def test_nothing_is_nan():
    "What is not known is null, so that every reader of JSON can read it."
    summary = summary_of_map(small_lake_map(), "m", {})
    head = summary_head(Soundings.build(0), no_crossovers(), "m")
    unknown = {"median_abs_m": None, "rms_m": None}
    assert head["crossovers"] == {"n": 0, **unknown, "before_bias": unknown, "after_bias": unknown, "within_s44": {},
                                  "disagreeing": [], "passes_uncrossed": 0}
    for told in (summary, head):
        assert json.loads(summary_json(told)) == told


def test_lengths_in_messages_are_in_the_readers_unit():
    "A slot of 1 m reads 3.3 ft."
    told = small_soundings().with_messages("stands {1.000 m} high")
    assert summary_head(told, no_crossovers(), "ft")["messages"][-1] == "stands 3.3 ft high"


def test_corrections_surfaces_and_bias_are_listed():
    "Once each, rounded to six significant digits."
    summary = summary_of_map(small_lake_map(), "m", {"depth.tif": {"bytes": 1, "sha256": "00"}})
    assert summary["corrections"] == [{"name": "draft of evening.nmea", "before_m": 0.0, "after_m": 0.4}]
    assert summary["pass_bias"][1] == {"pass_id": 1, "bias_m": -0.02, "sigma_m": 0.02}
    depth = summary["surfaces"]["depth"]
    assert depth["left_out"]["rmse_m"] == 0.21 and depth["left_out"]["within_1_96"] == 0.947
    assert depth["model"]["range_m"] == 90.0 and depth["pixel_m"] == 5.0
    assert summary["common_error"] == {"offset_m": 0.3, "scale": 0.015}
    assert summary["settings"]["publish"] == {"units": None} and summary["spots"] == 2


@pytest.mark.parametrize(("feet", "metres", "fathoms", "asked", "unit"), [
    (100, 99, 0, None, "ft"), (99, 100, 0, None, "m"), (50, 50, 0, None, "m"), (0, 10, 11, None, "ft"),
    (100, 1, 0, "m", "m"), (0, 100, 0, "ft", "ft"), (0, 0, 0, None, "m"),
])
def test_unit_is_the_one_most_depths_came_in(feet, metres, fathoms, asked, unit):
    "Unless the settings say otherwise; fathoms read in feet."
    counts = (("ft", feet), ("m", metres), ("fathom", fathoms))
    logs = [LogFacts(word, rows_in=n, depth_unit=word) for word, n in counts]
    assert choose_unit(Soundings.build(0, logs), PublishSettings(units=asked)) == unit


def test_no_path_and_no_clock():
    "Two summaries of one map are equal, whatever happened between."
    assert summary_json(summary_of_map(small_lake_map(), "m", {})) == summary_json(
        summary_of_map(dataclasses.replace(small_lake_map()), "m", {}))
