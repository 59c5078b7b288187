"""The error budget in report and summary: log by log, and what all depths share."""

from __future__ import annotations

from dataclasses import replace

from worlds import small_soundings

from lakemap.geo.crossovers import find_crossovers
from lakemap.model.error_budget import CommonPart, ErrorBudget, LogBudget
from lakemap.publish.error_table import budget_section
from lakemap.publish.summary import summary_head

BUDGET = ErrorBudget(
    (LogBudget("evening.nmea", {"resolution": 0.03, "waves": 0.05, "level": 0.0}, 0.058, 0.025),),
    (CommonPart("draft and reference", 0.3, 0.0, "not known"), CommonPart("sound speed", 0.0, 0.003, "known <1> degC")),
)


def test_the_report_has_both_tables():
    "Parts that somebody has, totals, and the common error with its reason; text is never markup; feet for feet."
    made = budget_section(replace(small_soundings(), budget=BUDGET), "m")
    for text in ("What makes up the error", "evening.nmea", "resolution", "0.058", "0.025", "not known", "0.300", "0.3",
                 "known &lt;1&gt; degC"):
        assert text in made, text
    assert "level" not in made.split("</thead>")[0]
    assert "0.190" in budget_section(replace(small_soundings(), budget=BUDGET), "ft")
    assert budget_section(small_soundings(), "m") == ""


def test_every_figure_of_the_table_is_in_the_summary():
    "By log, and the parts of the common error."
    soundings = replace(small_soundings(), budget=BUDGET)
    head = summary_head(soundings, find_crossovers(soundings), "m")
    assert head["logs"][0]["error_budget"] == {
        "resolution": 0.03, "waves": 0.05, "level": 0.0, "total": 0.058, "shared": 0.025}
    assert "error_budget" not in head["logs"][1]
    assert [part["name"] for part in head["common_error"]["parts"]] == ["draft and reference", "sound speed"]
