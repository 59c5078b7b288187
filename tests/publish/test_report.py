"""The report: one page that runs nothing, loads nothing and says everything once."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from worlds import small_lake_map

from lakemap.model.crossovers import Crossovers
from lakemap.model.frame import Grid
from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.model.water import WaterTemperature
from lakemap.publish import PublishSettings
from lakemap.publish.report import report_page
from lakemap.publish.report_figures import LONGEST_SIDE_PX, surface_figure
from lakemap.publish.report_markup import table

SETTINGS = PublishSettings()


class Page(HTMLParser):
    "Tags, addresses and text of a page."

    def __init__(self, text):
        super().__init__()
        self.tags, self.addresses, self.text = [], [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [value for key, value in attrs if key in ("src", "href", "xlink:href", "action")]
        assert not [key for key, _ in attrs if key.startswith("on")]

    def handle_data(self, data):
        self.text += data


@pytest.fixture(scope="module")
def report():
    "The small lake's report in feet."
    return report_page(small_lake_map(), "ft", SETTINGS)


def test_it_runs_nothing_and_asks_for_nothing(report):
    "No script, no address but places in the page itself and pictures inside it; the policy forbids the rest."
    read = Page(report)
    assert "script" not in read.tags and "link" not in read.tags and "iframe" not in read.tags
    assert all(address.startswith(("#", "data:image/png;base64,")) for address in read.addresses)
    assert "default-src 'none'" in report
    assert not re.search(r"https?://(?!www\.w3\.org/)", report)
    assert not re.search(r"@import|url\(\s*['\"]?(?!#)", report)


def test_names_and_notes_are_text_never_markup(report):
    "What users wrote is escaped everywhere."
    read = Page(report)
    assert "b" not in read.tags and "round" not in read.tags and "wall" not in read.tags
    for words in ("Small & <Round> Lake", "screen <b>.csv", "old <wall> & rock"):
        assert words in read.text


def test_caution_stands_once(report):
    "Said once."
    assert Page(report).text.count(CAUTION) == 1


def test_each_file_shows_rows_in_used_and_held_out_by_reason(report):
    "404 rows in, 392 used, 12 held out: 4 lost bottom, 8 spikes; the reasons in plain words."
    row = re.search(r"<tr><td[^>]*>evening\.nmea</td>(.*?)</tr>", report)[1]
    assert re.findall(r">([^<]*)</td>", row) == [
        "NMEA 0183", "404", "392", "12", "4 lost bottom, 8 spike", "4 rise"]
    assert "a single depth far from its neighbours along the pass" in report


def test_lengths_are_in_the_readers_unit(report):
    "RMSE of 0.21 m is 0.69 ft; draft of 0.4 m is 1.31 ft; none stands in metres."
    text = Page(report).text
    assert "0.69 ft" in text and "1.31" in text and "25.9" in text and "acres" in text
    assert "0.984 ft and 1.5 % of depth" in text
    metric = Page(report_page(small_lake_map(), "m", SETTINGS)).text
    assert "0.21 m" in metric and " ft" not in metric


def test_figures_are_named_drawings(report):
    "Seven drawings, each with its words for those who cannot see it."
    assert len(re.findall(r'<svg role="img" aria-label="[^"]+"', report)) == 7
    assert report.count("<figcaption>") == 7 and "<metadata>" not in report


def test_the_report_is_the_same_twice(report):
    "No clock, no drawn ids."
    assert report_page(small_lake_map(), "ft", SETTINGS) == report


def test_a_poor_map_has_an_honest_report():
    "No hardness, no spots, no crossovers, no depth drawn: sentences that say so, and no broken figure."
    small = small_lake_map()
    none = np.empty(0)
    frame = small.depth.frame
    blank = Grid(frame, np.full(frame.shape, np.nan, np.float32), "depth_m", "m")
    poor = dataclasses.replace(
        small, hardness=None, spots=Spots.empty(), shore=None,
        crossovers=Crossovers(none, none, none, none, none, none, none, none),
        depth=dataclasses.replace(small.depth, estimate=blank, sigma=blank, left_out=None),
    )
    text = Page(report_page(poor, "m", SETTINGS)).text
    assert "No reading speaks of hardness" in text and "No two passes cross" in text
    assert "Nothing stood up from the floor" in text


def test_a_large_surface_makes_a_small_figure():
    "A map of 4 million pixels is thinned; the drawing stays under 600 kB."
    frame = dataclasses.replace(small_lake_map().depth.frame, shape=(2000, 2000), water=np.ones((2000, 2000), bool))
    rng = np.random.default_rng(1)
    grid = Grid(frame, rng.standard_normal((2000, 2000)).cumsum(axis=0).astype(np.float32), "depth_m", "m")
    assert len(surface_figure(grid, "depth", "depth")) < 2000 * LONGEST_SIDE_PX


def test_empty_tables_are_left_out():
    "No rows, no heading over nothing."
    assert table("caption", ("a",), [], ()) == ""


def test_a_row_with_long_text_becomes_a_block_on_a_phone():
    "Each value behind its column's name, escaped, and still a table to a screen reader; short tables stay as they are."
    text = table("why", ("spot", "<why>"), [("hump-1", "words " * 20)], ("spot", "<why>"))
    assert '<table class="stack" role="table">' in text and '<tr role="row">' in text
    assert 'role="cell" data-head="&lt;why&gt;">words' in text and 'role="columnheader">spot' in text
    assert "stack" not in table("few", ("a",), [(1,)], ()) and "role=\"row\"" not in table("few", ("a",), [(1,)], ())


def test_temperature_is_named_and_has_its_unit():
    "Words, not a file's name; degC in its figures; a bias that rounds to nothing has no minus."
    small = small_lake_map()
    degrees = dataclasses.replace(small.hardness.estimate, name="water_temperature_c", unit="degC")
    left = dataclasses.replace(small.hardness.left_out, bias=-0.001, reading=np.linspace(17, 19, 9),
                               estimate=np.linspace(17, 19, 9))
    warm = WaterTemperature(dataclasses.replace(small.hardness, estimate=degrees, left_out=left), "2025-06-14", 0.5)
    report = report_page(dataclasses.replace(small, temperature=warm), "ft", SETTINGS)
    text = Page(report).text
    assert "water_temperature" not in report.split("<h2>Messages")[0] and "-0.00" not in text
    assert "Readings of water temperature held back" in text and "water temperature [°C]" in report
