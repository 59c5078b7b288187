// Puts the page together; called once, with the map that folium made.
async function startPage(map) {
  const data = JSON.parse(Dom.by("lake-data").textContent);
  Units.start(data.unit);
  Sureness.start(data.sure);
  Suited.start(data.water);
  sayOnce(data);
  measureDrawer();
  await hasRoom(map.getContainer());
  map.invalidateSize({ animate: false });
  setPanes(map);
  keepStill(map);
  seeWhole(map, data.bounds, isRoomy());
  map.setMinZoom(Math.max(1, map.getZoom() - 3));
  if (typeof DecompressionStream === "undefined") {
    Dom.by("trouble").textContent = "This browser is too old to show the depths; a newer one will.";
    Dom.by("trouble").hidden = false;
    return;
  }
  const grid = await LakeGrid.open(data.grid);
  buildPage(map, data, grid);
}

// A frame that is not laid out yet, or hidden, has no size, and a map without one has no middle.
const hasRoom = (element) => new Promise((resolve) => {
  const watch = new ResizeObserver(() => {
    if (!element.clientWidth || !element.clientHeight) return;
    watch.disconnect();
    resolve();
  });
  watch.observe(element);
});

// The whole lake, beside the layers where they lie open; the margin never takes more than half of a small window.
function seeWhole(map, bounds, layersOpen) {
  const size = map.getSize(), margin = Math.min(20, size.x / 4, size.y / 4);
  const covered = layersOpen && size.x > 2 * LAYERS_PX ? LAYERS_PX : 0;
  map.fitBounds(bounds, {
    paddingTopLeft: [margin, margin], paddingBottomRight: [margin + covered, margin], animate: false,
  });
}

function setPanes(map) {
  const order = { surface: 300, sketch: 400, contours: 410, names: 590, boat: 640 };
  for (const [name, level] of Object.entries(order)) {
    const pane = map.createPane(name);
    pane.style.zIndex = String(level);
    pane.style.pointerEvents = "none";
  }
  L.control.zoom({ position: "topleft" }).addTo(map);
}

// Who asked the device for less motion gets none: Leaflet glides by script where a style sheet cannot stop it.
function keepStill(map) {
  if (!window.matchMedia("(prefers-reduced-motion: reduce)").matches) return;
  const glide = map.panBy;
  map.options.inertia = false;
  map._zoomAnimated = false;
  map.panBy = (offset, options) => glide.call(map, offset, { ...options, animate: false });
}

function buildPage(map, data, grid) {
  const views = makeViews(grid, data.ramps);
  const painter = new Painter(grid, views).addTo(map);
  const sketch = new Sketch().addTo(map);
  const here = new Here(map, data.magnetic);
  const notes = new Notes(map, data.name);
  const spots = new SpotPanel(map, data, Dom.by("caution").textContent);
  spots.here = here;
  spots.notes = notes;
  const contours = new ContourLayer(grid, data);
  const graticule = new Graticule(map);
  const overlay = (name, label, layer, any, on = true) => ({ name, label, layer, any, on });
  const repaint = () => painter.redraw();
  const drawn = (name, label, on) =>
    overlay(name, label, Overlays.drawn(name, data.drawn[name] || [], sketch), Boolean(data.drawn[name]), on);
  const overlays = {
    hazards: drawn("hazards", "Dangers", true),
    closed: drawn("closed", "Closed areas", true),
    contours: overlay("contours", "Contours", contours, Boolean(contours.range)),
    passes: overlay("passes", "Passes of the boat", Overlays.drawn("passes", data.passes, sketch), data.passes.length > 0),
    features: overlay("features", "Shape of the floor", Overlays.features(data.features, sketch, map),
      data.features.length > 0, false),
    spots: overlay("spots", "Spots", spots.layer, data.spots.length > 0),
    notes: overlay("notes", "Own notes", notes.layer, true),
    gaps: drawn("gaps", "Gaps in the survey", false),
    flagged: drawn("flagged", "Readings held out", false),
    hits: drawn("hits", "Single sightings", false),
    edges: drawn("edges", "Where hard meets soft", false),
    weed: drawn("weed", "Weed, by season", false),
    moved: drawn("moved", "Floor that moved", false),
    suited: overlay("suited", Suited.label(), Suited.layer(repaint), Boolean(data.water), false),
    degrees: overlay("degrees", "Lines of degrees", graticule.layer, true, false),
    background: overlay("background", data.basemap ? `Background from ${data.basemap.host}` : "",
      Basemap.layer(data.basemap), Boolean(data.basemap), Basemap.wanted()),
    shore: overlay("shore", "Shoreline", Overlays.drawn("shore", [{ outlines: data.shore }], sketch), data.shore.length > 0),
  };
  const readout = new Readout(map, grid, data, new Nearby(data, map.getCenter()));
  const layers = new LayerPanel(map, views, overlays, painter);
  const legend = new Legend(views, overlays, data.hard);
  const scale = new ScaleBar(map);
  legend.lines = () => here.lines;
  here.onLines = () => legend.show(painter.view, layers.fade);

  layers.onChange = () => {
    legend.show(painter.view, layers.fade);
    Dom.by("sure-show").textContent = painter.view === "sure" ? "Show depth" : "Show where";
  };
  layers.open(isRoomy());
  const before = Keep.get("view");
  layers.choose(views[before] ? before : "sure");
  layers.wireLines(contours);
  Today.wire({ level: Dom.by("level"), from: Dom.by("band-from"), to: Dom.by("band-to"),
    levelSaid: Dom.by("level-said"), bandSaid: Dom.by("band-said"), most_m: contours.range?.[1] ?? Infinity,
    units: [...document.querySelectorAll(".unit-word")] });
  contours.trace();
  Dom.by("sure-show").addEventListener("click", () => {
    layers.choose(painter.view === "sure" ? "depth" : "sure");
  });
  notes.onChange = () => { if (spots.chosen) spots.card(); };
  spots.onOpen = () => { drawer(true); readout.close(); };
  readout.onShow = (latlng) => bringOutOf(map, latlng, Dom.by("readout"));
  readout.onNote = (latlng) => {
    drawer(true);
    notes.open({ lat: latlng.lat, lon: Geo.wrapped(latlng.lng), kind: "place", name: "" });
  };
  readout.toSpot = (from) => spots.chosen &&
    `To ${spots.chosen.name}: ${here.way(from, [spots.chosen.lat_deg, spots.chosen.lon_deg])}`;
  Today.onChange(() => {
    repaint();
    spots.refresh();
    contours.trace();
    readout.refresh();
    legend.show(painter.view, layers.fade);
  });
  Positions.onChange(() => { readout.refresh(); here.refresh(); if (spots.chosen) spots.card(); });
  Dom.by("whole-button").addEventListener("click", () => {
    readout.close();
    if (!isWide()) drawer(false);
    seeWhole(map, data.bounds, isWide() && !Dom.by("layers").hidden);
  });
  spots.onMove = (latlng) => bringToView(map, latlng);
  wireDrawer(map);
  wireUnits(data);
  Units.onChange(() => {
    spots.refresh();
    readout.refresh();
    here.refresh();
    legend.show(painter.view, layers.fade);
    scale.refresh();
    sayOnce(data);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { notes.close(); readout.close(); spots.close(); }
    if (event.key === "Tab") document.body.classList.add("by-keys");
  });
  document.addEventListener("pointerdown", () => document.body.classList.remove("by-keys"), true);
  grid.whole.then(() => {
    readout.refresh();
    document.body.dataset.ready = "yes";
  });
  window.lakePage = { map, grid, painter, sketch, readout, spots, layers, contours, overlays, views, here, notes };
}

const LAYERS_PX = 288;
const CROSS_PX = 18;
const WIDE = "(min-width: 900px)";
const isWide = () => window.matchMedia(WIDE).matches;
// Room for list, map and layers side by side.
const isRoomy = () => window.matchMedia("(min-width: 1100px)").matches;

// Into the middle of what neither the open drawer nor the open layers cover.
function bringToView(map, latlng) {
  const size = map.getSize(), drawerBox = Dom.by("drawer");
  const low = isWide() ? 0 : Math.max(0, openDrawerPx() - Number.parseFloat(getComputedStyle(drawerBox.parentElement)
    .getPropertyValue("--peek")));
  const right = isWide() && !Dom.by("layers").hidden ? LAYERS_PX : 0;
  const seen = L.bounds([40, 40], [size.x - right - 40, size.y - low - 40]);
  if (seen.contains(map.latLngToContainerPoint(latlng))) return;
  const zoom = map.getZoom();
  map.panTo(map.unproject(map.project(latlng, zoom).add([right / 2, low / 2]), zoom));
}

// Up from behind a box that covers the place.
function bringOutOf(map, latlng, box) {
  const covered = box.getBoundingClientRect(), view = map.getContainer().getBoundingClientRect();
  const { x, y } = map.latLngToContainerPoint(latlng).add([view.left, view.top]);
  if (x < covered.left - CROSS_PX || x > covered.right + CROSS_PX || y < covered.top - CROSS_PX || y > covered.bottom) return;
  map.panBy([0, y - covered.top + 2 * CROSS_PX]);
}

// Name, bar of certainty, and what all depths share.
function sayOnce(data) {
  Dom.by("lake-name").textContent = data.name;
  const words = Sureness.WORDS.map((word, k) => {
    const share = data.sure.shares[k];
    Dom.by(`share-${k}`).style.flexGrow = String(share);
    Dom.by(`share-${k}`).hidden = share === 0;
    return `${word} ${percent(share)}`;
  });
  words.forEach((text, k) => { Dom.by(`share-word-${k}`).textContent = text; });
  const limits = [data.sure.within[0], data.sure.fair[0]].map((metres) => Units.length(metres));
  Dom.by("sure-rule").textContent =
    `Sure: within ${limits[0]} of the true depth. Fair: within ${limits[1]}. Both a little more in deep water. ` +
    "Guess: worse, hatched on the map. Every \u00b1 holds about 19 times in 20. The common error is what all depths " +
    "share, because draft, water level or sound speed are not fully known.";
  Dom.by("common-error").textContent = commonError(data.common);
  Dom.by("coarser").hidden = data.grid.factor === 1;
  Dom.by("coarser").textContent = `Shown here in squares of ${Units.length(data.grid.pixel_m)}; the files are finer.`;
}

function percent(share) {
  if (share > 0 && share < 0.01) return "<1\u00a0%";
  if (share > 0.99 && share < 1) return ">99\u00a0%";
  return `${Math.round(100 * share)}\u00a0%`;
}

function commonError({ offset_m: offset, scale }) {
  const parts = [];
  if (offset > 0) parts.push(Units.length(Sureness.error(offset)));
  if (scale > 0) parts.push(`${Units.number(100 * Sureness.error(scale), 1)}\u00a0% of the depth`);
  if (!parts.length) return "No error that all depths would share is known.";
  return `Common error: all depths together may be off by up to ${parts.join(" and ")}, on top of \u00b1.`;
}

function wireUnits(data) {
  const buttons = [...document.querySelectorAll("[data-unit]")];
  const press = () => buttons.forEach((button) =>
    button.setAttribute("aria-pressed", String(button.dataset.unit === Units.word)));
  buttons.forEach((button) => button.addEventListener("click", () => {
    Units.choose(button.dataset.unit);
    press();
  }));
  press();
}

const openDrawerPx = () => Math.min(0.62 * window.innerHeight, 640);

// The closed drawer is as high as what it always shows, whatever the fonts of the device make of it.
function measureDrawer() {
  const shown = ["drawer-handle", "sureness", "caution"].map((id) => Dom.by(id).offsetHeight);
  document.body.style.setProperty("--peek", `${shown.reduce((sum, height) => sum + height, 2)}px`);
  document.body.style.setProperty("--open", `${openDrawerPx()}px`);
}

function drawer(open) {
  document.body.classList.toggle("drawer-open", open);
  Dom.by("drawer-handle").setAttribute("aria-expanded", String(open));
}
function wireDrawer(map) {
  Dom.by("drawer-handle").addEventListener("click", () => drawer(!document.body.classList.contains("drawer-open")));
  map.on("dragstart", () => drawer(false));
  window.addEventListener("resize", measureDrawer);
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(map.getContainer());
}
