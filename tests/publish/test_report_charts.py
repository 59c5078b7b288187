"""The report's curves, and that plain words come before numbers."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path

import numpy as np
import pytest
from own_browser import opened
from worlds import small_lake_map

from lakemap.model.surface import VariogramTold
from lakemap.model.terrain import DepthAreaVolume, Intervals
from lakemap.publish import PublishSettings
from lakemap.publish.report import report_page
from lakemap.publish.report_charts import (
    DARK,
    calibration_figure,
    corrections_figure,
    crossovers_figure,
    flags_figure,
    held_back_figure,
    variogram_figure,
    volume_figure,
)
from lakemap.publish.summary import summary_of_map

SETTINGS = PublishSettings()


def rich_map():
    "The small lake with everything the report can draw: variograms, pairs held back, bottom samples, crossovers."
    made = small_lake_map()
    lag = np.geomspace(2, 90, 10)
    rng = np.random.default_rng(5)

    def told(surface, sill):
        reading = rng.uniform(0.1, 0.9, 60) * (8 if sill > 1 else 1)
        left = dataclasses.replace(surface.left_out, reading=reading, estimate=reading + 0.05 * rng.standard_normal(60),
                                   reliability=((0.5, 0.52), (0.9, 0.88)))
        gamma = sill * (1 - np.exp(-lag / 30))
        return dataclasses.replace(surface, left_out=left, variogram=VariogramTold(
            lag, gamma, gamma * 1.1, np.full(10, 50)))

    bottom = dataclasses.replace(
        made.bottom, calibrated=4, accuracy=0.75, sample_words=("mud", "mud", "sand", "$rock_1$"),
        sample_told=np.array([0.1, 0.1, 0.6, 0.95]), sample_read=np.array([0.15, 0.05, 0.55, 0.9]))
    return dataclasses.replace(made, depth=told(made.depth, 4.0), hardness=told(made.hardness, 0.05), bottom=bottom)


@pytest.fixture(scope="module")
def report():
    "The rich map's report in metres."
    return report_page(rich_map(), "m", SETTINGS)


def dots(svg):
    "How many filled markers a drawing has."
    return len(re.findall(rf"<use [^>]*fill: {DARK}", svg))


def test_plain_words_come_first(report):
    "The first heading is In short; it has no greek and no term of the trade, and its numbers are the summary's."
    heads = re.findall(r"<h2>([^<]*)</h2>", report)
    assert heads[0] == "In short" and report.index("In short") < report.index("<figure>")
    first = report[report.index("In short"):report.index(f"<h2>{heads[1]}</h2>")]
    for word in ("sigma", "RMSE", "variogram", "kriging", "nugget", "bias"):
        assert word.lower() not in first.lower()
    summary = summary_of_map(rich_map(), "m", {})
    assert f"rests on {summary['rows']['used']} soundings" in first
    assert f"within {1.96 * summary['surfaces']['depth']['left_out']['rmse_m']:.1f} m of what a sounder shows" in first


def test_headings_run_in_order_and_every_figure_speaks(report):
    "One h1, then h2; each drawing is an image with words that stand below it, too."
    levels = [int(level) for level in re.findall(r"<h(\d)", report)]
    assert levels[0] == 1 and set(levels[1:]) == {2}
    figures = re.findall(r"<figure>(.*?)</figure>", report, re.DOTALL)
    assert len(figures) >= 11
    for one in figures:
        label = re.search(r'<svg role="img" aria-label="([^"]+)"', one)[1]
        assert label in one[one.index("<figcaption>"):]


@pytest.mark.parametrize("words", [
    "Rows held out", "What passes disagree by", "Differences where passes cross", "Variogram of depth",
    "Variogram of hardness", "Readings of depth held back",
    "Readings of hardness held back", "How true sigma is", "Left: area of water",
    "Bottom samples against",
])
def test_every_figure_of_the_rich_map_is_there(report, words):
    "Flags, corrections, crossovers, variograms, scatter, reliability, volume, calibration."
    assert re.search(rf'aria-label="{words}', report), words


def test_words_of_users_are_no_formulas(report):
    "A sample's word in dollar signs is drawn as upright letters, a path a letter: a formula's are slanted or of TeX."
    figure = calibration_figure(rich_map().bottom)
    assert "$rock_1$" in figure
    for drawn in (figure, report):
        fonts = set(re.findall(r'<path id="([A-Za-z0-9-]+)-[0-9a-f]+"', drawn))
        assert "DejaVuSans" in fonts and not [name for name in fonts if "Oblique" in name or "Cmr" in name]


def test_dots_are_as_many_as_there_are():
    "Six more lag classes add six dots; of 5000 readings held back no more than 700 are drawn."
    made = rich_map().depth
    few = dataclasses.replace(made, variogram=dataclasses.replace(made.variogram, **{
        name: getattr(made.variogram, name)[:4] for name in ("lag_m", "gamma", "expected", "pairs")}))
    assert dots(variogram_figure(made, "m")) - dots(variogram_figure(few, "m")) == 6
    many = np.linspace(0, 8, 5000)
    wide = dataclasses.replace(made, left_out=dataclasses.replace(made.left_out, reading=many, estimate=many))
    assert 600 <= dots(held_back_figure(wide, "depth", "m")) <= 700


def test_what_is_not_there_is_not_drawn():
    "No rows held out, nothing judged, no crossing, no variogram, nothing held back, no samples, no table: nothing."
    none = np.empty(0)
    plain = small_lake_map()
    assert flags_figure({}, 10) == "" and flags_figure({"spike": 0}, 10) == ""
    assert corrections_figure([{"name": "draft", "before_m": None, "after_m": None}], "m") == ""
    assert crossovers_figure(none, none, "m") == "" and variogram_figure(plain.depth, "m") == ""
    assert held_back_figure(plain.depth, "depth", "m") == "" and calibration_figure(None) == ""
    assert volume_figure(DepthAreaVolume(none, none, none, 0.0, None), "m") == ""


def test_volume_comes_with_its_interval_where_drawn():
    "With equally likely surfaces there are bands beside both curves, without them none; feet and acre-feet by choice."
    table = small_lake_map().terrain.table
    ends = Intervals(0.95, 20, table.area_m2 * 0.9, table.area_m2 * 1.1, table.volume_m3 * 0.9, table.volume_m3 * 1.1)
    with_bands = volume_figure(dataclasses.replace(table, intervals=ends), "ft")
    plain = volume_figure(table, "ft")
    assert with_bands.count("FillBetween") == plain.count("FillBetween") + 2 and "acre-feet" in with_bands
    assert "hectares" in volume_figure(table, "m")


def test_one_value_everywhere_still_makes_a_figure():
    "All crossings at zero, one lag: no warning, a drawing."
    assert crossovers_figure(np.zeros(5), np.zeros(5), "m").startswith("<svg")
    made = rich_map().depth
    one = dataclasses.replace(made, variogram=VariogramTold(
        np.array([5.0]), np.array([0.2]), np.array([np.nan]), np.array([40])))
    assert variogram_figure(one, "ft").startswith("<svg")


def test_the_variogram_stands_in_the_summary_too():
    "Lag, half squared difference, what the model expects and pairs, class by class; null where a surface has none."
    told = summary_of_map(rich_map(), "ft", {})["surfaces"]["depth"]["variogram"]
    made = rich_map().depth.variogram
    for name in ("lag_m", "gamma", "expected", "pairs"):
        np.testing.assert_allclose(told[name], getattr(made, name), rtol=1e-5)
    assert json.loads(json.dumps(told)) == told
    assert summary_of_map(small_lake_map(), "m", {})["surfaces"]["depth"]["variogram"] is None


@pytest.mark.browser
@pytest.mark.parametrize("width", [1200, 390], ids=["desk", "phone"])
def test_axe_finds_nothing_in_the_report(tmp_path, report, width):
    "Every rule of axe-core, at desk and phone width; nothing but tables that scroll is wider than the screen."
    axe = pytest.importorskip("axe_playwright_python.base", reason="axe-playwright-python is not installed")
    file = tmp_path / "report.html"
    file.write_text(report, encoding="utf-8")
    with opened(file, width, 844) as page:
        page.evaluate(Path(axe.__file__).with_name("axe.min.js").read_text())
        found = page.evaluate("axe.run()")["violations"]
        assert [(one["id"], [node["html"][:90] for node in one["nodes"]]) for one in found] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
