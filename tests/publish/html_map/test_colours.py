"""The map's colours."""

import re

import numpy as np
import pytest

from lakemap.publish.html_map.colours import RAMPS, ramp
from lakemap.publish.html_map.page import text_of


def linear_rgb(colour):
    "sRGB hex as linear light, IEC 61966-2-1."
    value = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def cie_lab(colour):
    "CIE 1976 L*a*b* (D65, matrix of IEC 61966-2-1): another model of the eye than the one the ramps are made in."
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = to_xyz @ linear_rgb(colour) / np.array([0.9505, 1.0, 1.089])
    f = [t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one, other):
    "Contrast ratio of WCAG 2.1."
    light, dark = sorted((float(linear_rgb(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("name", RAMPS)
def test_lightness_runs_one_way(name):
    "Lightness alone tells values apart, so any colour vision reads the ramp in the right order."
    lightness = np.array([cie_lab(colour)[0] for colour in ramp(name)])
    steps = np.diff(lightness)
    assert np.all(steps > 0) or np.all(steps < 0)
    assert abs(lightness[-1] - lightness[0]) > 50


@pytest.mark.parametrize("name", RAMPS)
def test_steps_look_alike(name):
    "No step is twice the mean step by CIE Lab, so no line appears where the lake has none."
    lab = np.array([cie_lab(colour) for colour in ramp(name)])
    steps = np.linalg.norm(np.diff(lab, axis=0), axis=1)
    assert steps.max() < 2 * steps.mean()
    assert steps.min() > 0.4 * steps.mean()


def inks(style):
    "Named colours of a style sheet, the first of each name."
    return dict(reversed(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", style)))


def test_the_night_is_dim_and_still_legible():
    "The night's paper gives off under a hundredth of white, and its words stand out by 4.5 and more."
    named = inks(text_of("page.css").split(".night {", 1)[1].split("}")[0])
    assert (contrast(named["paper"], "#000000") - 1) * 0.05 < 0.01
    for ink in ("ink", "soft-ink", "deep", "signal"):
        assert contrast(named[ink], named["paper"]) > 4.5
    assert contrast("#15120f", named["deep"]) > 4.5


def test_words_stand_out_from_their_ground():
    "Every ink on every ground it is used on: 4.5 at least, and 7 for the text that is read in the sun."
    named = inks(text_of("page.css").split(".night", 1)[0])
    assert contrast(named["ink"], named["paper"]) > 7
    assert contrast(named["soft-ink"], named["paper"]) > 7
    assert contrast("#33230a", "#fdf1d3") > 7
    for ink, ground in (("deep", "paper"), ("signal", "paper"), ("ink", "land")):
        assert contrast(named[ink], named[ground]) > 4.5
    assert contrast("#ffffff", named["deep"]) > 7
    assert contrast("#ffffff", named["sure"]) > 7
    assert contrast("#ffffff", named["signal"]) > 4.5
