"""The page in the sun, by keys alone, held still, and with the screen kept awake."""

import importlib.util
import io
import sys
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

_spec = importlib.util.spec_from_file_location("control_tests", Path(__file__).with_name("test_every_control.py"))
controls = importlib.util.module_from_spec(_spec)
sys.modules["control_tests"] = controls
_spec.loader.exec_module(controls)
shared, opened = controls.shared, controls.opened
chromium, written, size = controls.chromium, controls.written, controls.water.size

pytestmark = pytest.mark.browser

# Contrast of WCAG 2.2 (relative luminance, contrast ratio) of every text and field in sight, over the colours below it
# blended down to the page; brightness filters count, text over the map counts against its halo.
CONTRAST = """() => {
  const parse = (text) => { const [r, g, b, a = 1] = text.match(/[\\d.]+/g).map(Number); return [r, g, b, a]; };
  const over = ([r, g, b, a], [R, G, B]) => [r * a + R * (1 - a), g * a + G * (1 - a), b * a + B * (1 - a)];
  const chain = (one) => { const all = []; for (; one; one = one.parentElement) all.push(one); return all; };
  const dim = (one) => chain(one).reduce((part, up) =>
    part * Number((getComputedStyle(up).filter.match(/brightness\\(([\\d.]+)\\)/) || [0, 1])[1]), 1);
  const light = (rgb) => rgb.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
  const below = (one) => {
    const halo = getComputedStyle(one).textShadow;
    if (halo !== 'none') return parse(halo).slice(0, 3);
    if (one.matches('.spot-mark text')) {
      return parse(getComputedStyle(one.parentElement.querySelector('.disc')).fill).slice(0, 3);
    }
    return chain(one).reverse().reduce((colour, up) => over(parse(getComputedStyle(up).backgroundColor), colour),
      [255, 255, 255]);
  };
  const own = (one) => one.matches('input, select, textarea') ? !/checkbox|radio|file/.test(one.type)
    : [...one.childNodes].some(node => node.nodeType === 3 && node.data.trim());
  const seen = (one) => one.checkVisibility({ visibilityProperty: true }) && one.getBoundingClientRect().width > 0;
  return [...document.body.querySelectorAll('*')]
    .filter(one => !/^(SCRIPT|STYLE|OPTION|NOSCRIPT)$/.test(one.tagName) && own(one) && seen(one)).map(one => {
      const style = getComputedStyle(one), part = dim(one), ground = below(one);
      const ink = over(parse(one instanceof SVGElement ? style.fill : style.color), ground);
      const [a, b] = [ink, ground].map(rgb => light(rgb.map(v => v * part))).sort((x, y) => y - x);
      const names = chain(one).map(up => up.id || up.getAttribute('class') || '').filter(Boolean);
      return [names.slice(0, 2).join(' in '), (a + 0.05) / (b + 0.05)];
    });
}"""


@pytest.mark.parametrize(("night", "least"), [(False, 7.0), (True, 4.5)], ids=["day", "night"])
def test_text_is_told_from_its_ground(chromium, written, size, night, least):
    "7 to 1 by day (WCAG 2.2, 1.4.6), 4.5 to 1 by night (1.4.3), with list, card, reading, layers and place open."
    phone = "has_touch" in size
    with opened(chromium, written(controls.whole_lake()), size) as page:
        found = []
        for card in (False, True):
            controls.everything_open(page, phone)
            page.evaluate("on => { if (on) document.getElementById('night').click(); }", night)
            page.evaluate("document.querySelector('#overlay-choices input[value=degrees]').click()")
            if card:
                page.evaluate("lakePage.spots.open(lakePage.spots.spots[1])")
            page.wait_for_timeout(300)
            found += page.evaluate(CONTRAST)
        assert len(found) > 150
        short = sorted({f"{name} {ratio:.2f}" for name, ratio in found if ratio < least})
        assert "\n".join(short) == ""


KEYS = """() => [...document.querySelectorAll('#legend .key')].map(key => {
  const { x, y, width, height } = key.getBoundingClientRect();
  return [key.className.replace('key key-', ''), { x, y, width, height }];
})"""


def spread(picture):
    "Contrast ratio (WCAG 2.2) between the lightest and the darkest tenth of a picture."
    rgb = np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    light = np.sort((linear @ [0.2126, 0.7152, 0.0722]).ravel())
    tenth = max(1, len(light) // 20)
    return (light[-tenth:].mean() + 0.05) / (light[:tenth].mean() + 0.05)


@pytest.mark.parametrize("night", [False, True], ids=["day", "night"])
def test_every_key_of_the_legend_is_told_from_its_ground(chromium, written, size, night):
    "With all drawn that can be: 3 to 1 within each key's picture (WCAG 2.2, 1.4.11); on the phone once asked for."
    with opened(chromium, written(controls.whole_lake()), size) as page:
        page.evaluate("on => { if (on) document.getElementById('night').click(); }", night)
        page.evaluate("document.querySelectorAll('#overlay-choices input:not(:checked)').forEach(one => one.click())")
        if "has_touch" in size:
            assert not page.is_visible("#legend-lines")
            page.tap("#legend-count")
        on = page.locator("#overlay-choices input:checked").count()
        assert page.locator("#legend-lines li").count() == on >= 16
        assert page.inner_text("#legend-count") == f"Drawn over it: {on}" or "has_touch" not in size
        page.evaluate("""() => {
            document.body.append(document.getElementById('legend'));
            const place = { position: 'fixed', inset: '0 auto auto 0', zIndex: 9 };
            Object.assign(document.getElementById('legend').style, place);
            document.getElementById('legend-lines').style.maxHeight = 'none';
        }""")
        short = {name: round(spread(page.screenshot(clip=box)), 2) for name, box in page.evaluate(KEYS)}
        assert {name: ratio for name, ratio in short.items() if ratio < 3.0} == {}
        assert len(short) == on + 1


REACHED = """() => {
  const one = document.activeElement, all = [...document.querySelectorAll('*')];
  return one === document.body ? -1 : all.indexOf(one);
}"""
REACHABLE = """every => [...document.querySelectorAll('*')].flatMap((one, at) =>
  one.matches(every) && one.tabIndex >= 0 && !one.disabled && one.checkVisibility({ visibilityProperty: true })
  && (one.type !== 'radio' || one.checked) ? [at] : [])"""


def test_tab_reaches_every_control(chromium, written, size):
    "From the top of the page Tab stops at each control in sight, and at a group of choices once."
    with opened(chromium, written(controls.whole_lake()), size) as page:
        controls.everything_open(page, "has_touch" in size)
        page.evaluate("document.activeElement.blur()")
        page.locator("#lake-name").click()
        wanted = set(page.evaluate(REACHABLE, controls.EVERY))
        reached = set()
        for _ in range(2 * len(wanted)):
            page.keyboard.press("Tab")
            reached.add(page.evaluate(REACHED))
        assert len(wanted) > 50
        assert wanted - reached == set()


@contextmanager
def still(chromium, path, wanted):
    "The page on a device that asks for less motion, or does not."
    size = {**shared.DESK, "reduced_motion": "reduce" if wanted else "no-preference"}
    with opened(chromium, path, size) as page:
        yield page


@pytest.mark.parametrize("wanted", [True, False], ids=["less motion", "any motion"])
def test_less_motion_is_none(chromium, written, wanted):
    "Zooming, going to a place and the drawer: at once for who asked for less motion, gliding for others."
    moved = """act => {
        const { map } = lakePage, places = new Set();
        const note = () => places.add(map.getPane('mapPane').style.transform + map.getZoom());
        note();
        map.on('move zoomanim', note);
        if (act === 'pan') map.panTo(map.getCenter().lat ? map.containerPointToLatLng([300, 300]) : null);
        else map.zoomIn();
        return new Promise(done => setTimeout(() => done([places.size, map._animatingZoom === true]), 120));
    }"""
    with still(chromium, written(controls.whole_lake()), wanted) as page:
        steps, _ = page.evaluate(moved, "pan")
        assert (steps <= 2) is wanted
        page.wait_for_timeout(500)
        _, gliding = page.evaluate(moved, "zoom")
        assert gliding is not wanted
        page.set_viewport_size({"width": 390, "height": 844})
        slow = page.evaluate("getComputedStyle(document.getElementById('drawer')).transitionDuration")
        assert (slow == "0s") is wanted
        page.wait_for_timeout(300)


WAKE = """() => {
  window.asked = []; window.given = [];
  Object.getPrototypeOf(navigator.geolocation).watchPosition = () => 1;
  navigator.wakeLock.request = (kind) => new Promise((done, refuse) => {
    asked.push(kind);
    window.answer = (yes) => yes ? done({ release: async () => { given.push(kind); } }) : refuse(new Error('no'));
  });
}"""


def test_the_screen_is_kept_awake_while_a_place_is_shown(chromium, written):
    "Asked for with the position, not before; let go with it, even if granted late; a refusal is no trouble."
    with opened(chromium, written(controls.whole_lake()), shared.PHONE) as page:
        page.evaluate(WAKE)
        assert page.evaluate("asked") == []
        page.tap("#here-button")
        assert page.evaluate("asked") == ["screen"]
        page.evaluate("answer(true)")
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        assert page.evaluate("asked.length") == 2
        page.evaluate("answer(true)")
        assert page.evaluate("given.length") == 1
        page.tap("#here-button")
        assert page.evaluate("given.length") == 2
        page.tap("#here-button")
        page.tap("#here-button")
        page.evaluate("answer(true)")
        assert page.evaluate("given.length") == 3
        page.tap("#here-button")
        page.evaluate("answer(false)")
        assert page.get_attribute("#here-button", "aria-pressed") == "true"
