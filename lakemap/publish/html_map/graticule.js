// Lines of latitude and longitude, with figures at the edge, in the style of positions that is chosen.
class Graticule {
  constructor(map) {
    this.map = map;
    this.layer = L.layerGroup();
    this.layer.on("shown", () => this.draw());
    map.on("moveend zoomend resize", () => this.draw());
    Positions.onChange(() => this.draw());
  }

  // Steps in degrees: round minutes, or round decimals.
  static STEPS = {
    minutes: [60, 30, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002].map((minutes) => minutes / 60),
    decimal: [1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005, 0.0002, 0.0001],
  };

  draw() {
    if (!this.map.hasLayer(this.layer)) return;
    this.layer.clearLayers();
    const seen = this.map.getBounds(), size = this.map.getSize();
    const steps = Graticule.STEPS[Positions.style];
    const step = (span, px) => steps.filter((one) => span / one <= Math.max(2, px / 130)).at(-1) || steps[0];
    const lon = step(seen.getEast() - seen.getWest(), size.x), lat = step(seen.getNorth() - seen.getSouth(), size.y);
    for (let k = Math.ceil(seen.getWest() / lon); k * lon < seen.getEast(); k++) {
      this._line([[seen.getSouth(), k * lon], [seen.getNorth(), k * lon]], Geo.degrees(Geo.wrapped(k * lon), "EW", Positions.style));
    }
    for (let k = Math.ceil(seen.getSouth() / lat); k * lat < seen.getNorth(); k++) {
      this._line([[k * lat, seen.getWest()], [k * lat, seen.getEast()]], Geo.degrees(k * lat, "NS", Positions.style), true);
    }
  }

  _line(ends, text, level = false) {
    L.polyline(ends, { interactive: false, color: "#0c1c26", weight: 0.8, opacity: 0.5 }).addTo(this.layer);
    const words = document.createElement("span");
    words.textContent = text;
    const at = level ? this._in(ends[0], 74, 0) : this._in(ends[1], 0, 4);
    L.marker(at, {
      interactive: false, keyboard: false, pane: "names",
      icon: L.divIcon({ className: `degree-name ${level ? "level" : "upright"}`, html: words, iconSize: null }),
    }).addTo(this.layer);
  }

  _in(place, x, y) {
    return this.map.containerPointToLatLng(this.map.latLngToContainerPoint(place).add([x, y]));
  }
}

// How positions are written, everywhere in the page.
const Positions = (() => {
  let style = Keep.get("positions") === "minutes" ? "minutes" : "decimal";
  const listeners = [];
  function choose(wanted) {
    style = wanted;
    Keep.set("positions", wanted);
    listeners.forEach((listener) => listener());
  }
  return { choose, onChange: (listener) => listeners.push(listener), get style() { return style; } };
})();
