"""Files to model: one open format a file; only this room opens what the user brings."""

from lakemap.read.lake_facts import read_catches, read_keep_out, read_lake_facts, read_priors
from lakemap.read.load import read_logs, read_marks, read_notes, read_samples, read_shore

__all__ = [
    "read_catches", "read_keep_out", "read_lake_facts", "read_logs", "read_marks", "read_notes", "read_priors",
    "read_samples", "read_shore",
]
