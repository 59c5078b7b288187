"""The strip below the map: everything in it can be read."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from paper_lake import paper_lake

from lakemap.publish.chart.ink import MM_PER_INCH, Page, ready_to_draw
from lakemap.publish.chart.paper import Paper
from lakemap.publish.chart.title import Words, draw_scale_bar, draw_title

AMONG = ("north", "east", "south", "west")


def strip(name, across, unit):
    "The strip of a sheet in the middle of many, its texts as (text, box [mm]) and the boxes of what is drawn."
    paper = Paper.named(name, across=across)
    lake = paper_lake(name="Lake of the Long Name " * 4, datum="full pool of 1962, as the gauge at the dam has it")
    words = Words(f"Scale 1:2500 (printed at 100 % on {name})", "Sheet 14 of 26; a depth line each 0.5 m",
                  "Goes on: " + ", ".join(f"{word} on sheet {14 + k}" for k, word in enumerate(AMONG)))
    with ready_to_draw():
        page = Page(paper.width_mm, paper.height_mm)
        draw_title(page, lake, paper, unit, words, None)
        draw_scale_bar(page, paper.frame.west + 4.0, paper.frame.south + 3.0, 0.4, unit)
        page.figure.set_dpi(600)  # letters as wide as in print, not fitted to the pixels of a screen
        canvas = FigureCanvasAgg(page.figure)
        to_mm = MM_PER_INCH / page.figure.dpi
        texts = [(one.get_text(), np.array(one.get_window_extent(canvas.get_renderer()).extents) * to_mm)
                 for one in page.axes.texts]
    drawn = [np.array(path.get_extents().extents) for one in page.axes.collections for path in one.get_paths()]
    return paper, texts, drawn


def meet(one, other):
    "Whether two boxes (west, south, east, north) share more than a hair."
    hair = 0.15
    return bool((np.minimum(one[2:], other[2:]) - np.maximum(one[:2], other[:2]) > hair).all())


@pytest.mark.parametrize("unit", ["m", "ft"])
@pytest.mark.parametrize("across", [False, True], ids=["upright", "across"])
@pytest.mark.parametrize("name", ["a4", "letter"])
def test_no_word_of_the_strip_lies_on_another_or_on_a_sign(name, across, unit):
    "A sheet with all that can be said: dangers, closed areas, neighbours on four sides, a long name; within the frame."
    paper, texts, drawn = strip(name, across, unit)
    # samples of depth figures stand on their own hatching
    words = [(text, box) for text, box in texts if len(text) > 2]
    assert len(words) > 20 and any(text.startswith("magnetic") for text, _ in words)
    for (text, box), (other, beside) in itertools.combinations(words, 2):
        assert not meet(box, beside), (text, other)
    for (text, box), shape in itertools.product(words, drawn):
        assert not meet(box, shape), (text, shape)
    frame = paper.frame
    for text, box in words:
        assert box[0] >= frame.west - 0.2 and box[2] <= frame.east + 0.4 and box[1] >= frame.south - 1.0, text
