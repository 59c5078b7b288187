"""The error budget of the report: what makes up a depth's error, log by log, and what the whole map shares."""

from __future__ import annotations

from lakemap.model.error_budget import PARTS, ErrorBudget
from lakemap.model.soundings import Soundings
from lakemap.publish.report_markup import bullets, paragraph, section, table
from lakemap.publish.wording import length


def budget_section(soundings: Soundings, unit: str) -> str:
    """Two tables, lengths in ``unit``; nothing where cleaning left no budget."""
    budget = soundings.budget
    if budget is None:
        return ""
    used = [name for name in PARTS if any(log.parts.get(name, 0.0) > 0.0 for log in budget.logs)]
    heads = ("log", *used, "all together", "shared by neighbours")
    rows = [
        (log.log, *(length(log.parts.get(name), unit, 3) for name in used), length(log.total_m, unit, 3),
         length(log.shared_m, unit, 3)) for log in budget.logs
    ]
    return section(
        "What makes up the error",
        paragraph("Parts of the standard error of a depth, which add as squares. What readings seconds apart share "
                  "does not average away, however many they are."),
        table(f"Usual parts of sigma [{unit}], by log", heads, rows, ("log",)),
        bullets([f"{name}: {PARTS[name]}." for name in used]),
        _common(budget, unit),
    )


def _common(budget: ErrorBudget, unit: str) -> str:
    rows = [
        (part.name, length(part.offset_m or None, unit, 3), f"{100 * part.scale:.2f}" if part.scale else "–",
         part.origin)
        for part in budget.common
    ]
    heads = ("what all depths share", f"offset [{unit}]", "% of depth", "why")
    return table("Common error, not in sigma: no crossing of passes can show it", heads, rows, (heads[0], heads[3]))
