"""Compiled loops run where nothing can be kept, too."""

from __future__ import annotations

from lakemap import compiled


def test_a_loop_runs_where_no_cache_can_be_written(monkeypatch):
    "Compiled anew instead of failing."
    asked = []

    def refusing(**options):
        asked.append(options)
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return lambda function: function

    monkeypatch.setattr(compiled, "njit", refusing)
    assert compiled.kernel("numpy")(lambda x: x + 1)(1) == 2
    assert asked == [{"cache": True, "error_model": "numpy"}, {"error_model": "numpy"}]
