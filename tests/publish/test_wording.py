"""Numbers as people read them."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from worlds import small_lake_map

from lakemap.publish.report import report_page
from lakemap.publish.settings import PublishSettings
from lakemap.publish.wording import about


@pytest.mark.parametrize(("value", "shown"), [
    (4086.99, "4,090"), (4779745.7, "4,780,000"), (0.078512, "0.0785"), (1.5, "1.5"), (0.0, "0"), (-12.345, "-12.3"),
    (999.6, "1,000"), (1.99e-7, "under 0.0001"), (None, "–"), (math.nan, "–"), (0.00098765, "0.000988"), (100.0, "100"),
])
def test_a_number_keeps_three_digits_and_no_exponent(value, shown):
    "Thousands set apart, zeros behind the point gone."
    assert about(value) == shown


@given(st.floats(1e-4, 1e9))
def test_what_is_written_is_within_its_last_digit(value):
    "Read back it differs by half a unit of the third digit at most."
    assert float(about(value).replace(",", "")) == pytest.approx(value, rel=0.0051)
    assert "e" not in about(value)


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_no_figure_of_the_report_claims_more_than_it_knows(unit):
    "Outside drawings, settings and positions (six decimals) no number with a point has more than four digits."
    text = report_page(small_lake_map(), unit, PublishSettings())
    text = re.sub(r"<svg.*?</svg>|<style.*?</style>", "", text[: text.index("<h2>Made with")], flags=re.DOTALL)
    cells = re.sub(r"<[^>]+>", "\n", text)
    found = [word for word in re.findall(r"(?<![\w.])\d[\d,]*\.\d+", cells)
             if len(word.replace(",", "").replace(".", "").lstrip("0")) > 4]
    assert [word for word in found if len(word.partition(".")[2]) != 6] == []
