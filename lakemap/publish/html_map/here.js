// Where the boat is, when the browser says it; the way to the chosen spot, and how far off a planned line.
class Here {
  constructor(map, magnetic) {
    this.map = map;
    this.magnetic = magnetic;
    this.place = null;
    this.target = null;
    this.lines = [];
    this.onLines = () => {};
    this.watch = null;
    this.lock = null;
    this.dot = L.circleMarker([0, 0], {
      interactive: false, pane: "boat", radius: 9, color: "#ffffff", weight: 3, fillColor: "#c4005f", fillOpacity: 1,
    });
    this.ring = L.circle([0, 0], { interactive: false, pane: "boat", radius: 1, color: "#c4005f", weight: 1.5, fill: false });
    this.drawnLines = L.layerGroup().addTo(map);
    Dom.by("here-button").addEventListener("click", () => (this.watch === null ? this.start() : this.stop()));
    Dom.by("lines-file").addEventListener("change", (event) => this.openLines(event.target.files[0]));
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible" && this.watch !== null) this.keepAwake();
    });
  }

  static MOST_BYTES = 20e6;

  start() {
    this.first = true;
    Dom.by("here").hidden = false;
    if (!navigator.geolocation || !window.isSecureContext) { this.sayNone(); return; }
    this._lines(["Waiting for a position\u2026"]);
    this.watch = navigator.geolocation.watchPosition((fix) => this.fix(fix.coords), (error) => this.failed(error),
      { enableHighAccuracy: true, maximumAge: 1000, timeout: 30000 });
    Dom.by("here-button").setAttribute("aria-pressed", "true");
    this.keepAwake();
  }
  stop() {
    if (this.watch !== null) navigator.geolocation.clearWatch(this.watch);
    this.watch = null;
    this.place = null;
    this.letSleep();
    this.dot.remove();
    this.ring.remove();
    Dom.by("here").hidden = true;
    Dom.by("here-button").setAttribute("aria-pressed", "false");
  }

  // Where the browser may not, or does not want to, the screen just goes dark as it always does.
  async keepAwake() {
    try {
      this.lock?.release().catch(() => {});
      this.lock = await navigator.wakeLock?.request("screen") ?? null;
    } catch { this.lock = null; }
    // it may have been granted only after the position was switched off again
    if (this.watch === null) this.letSleep();
  }
  letSleep() {
    this.lock?.release().catch(() => {});
    this.lock = null;
  }

  fix({ latitude, longitude, accuracy }) {
    this.place = [latitude, longitude];
    this.accuracy = accuracy;
    this.dot.setLatLng(this.place).addTo(this.map);
    this.ring.setLatLng(this.place).setRadius(accuracy).addTo(this.map);
    if (this.first) this.map.panTo(this.place);
    this.first = false;
    this.refresh();
  }

  failed(error) {
    if (error.code === 1) { this.stop(); Dom.by("here").hidden = false; this.sayNone(); return; }
    if (!this.place) this._lines(["No position yet: is the receiver on, with a free view of the sky?"]);
  }
  sayNone() {
    this._lines(["This browser gives no position to this page.",
      "It may to a file on the phone itself, over https and on localhost, once you allow it.",
      "Without: tap a place and read its position."]);
  }

  aim(target) { this.target = target; this.refresh(); }

  refresh() {
    if (!this.place) return;
    const said = [`${Geo.place(this.place, Positions.style)}, within ${Units.distance(this.accuracy)}`];
    if (this.target) said.push(`${this.target.name}: ${this.way(this.place, this.target.place)}`);
    const off = this.off();
    if (off) said.push(off);
    this._lines(said);
  }

  // Distance, bearing from true north and as a compass shows it.
  way(from, to) {
    const bearing = Geo.bearing(from, to);
    const { deg, old } = Geo.declination(this.magnetic, Geo.yearOf(new Date()));
    return `${Units.distance(Geo.distance(from, to))}, ${Geo.threeFigures(bearing)}\u00b0 true, ` +
      `${Geo.threeFigures(bearing - deg)}\u00b0 by compass${old ? " (old model)" : ""}`;
  }

  async openLines(file) {
    if (!file) return;
    const fits = file.size <= Here.MOST_BYTES;
    this.lines = fits ? Exchange.routes(await file.text()) : [];
    this.drawnLines.clearLayers();
    for (const line of this.lines) {
      L.polyline(line.points, { interactive: false, color: "#c4005f", weight: 2.5, dashArray: "10 5" }).addTo(this.drawnLines);
    }
    const count = this.lines.length;
    Dom.by("lines-said").textContent = count ? `${file.name}: ${count === 1 ? "one line" : `${count} lines`} opened`
      : fits ? `${file.name}: no GPX with a route or track. Open a file that plan lines or plan trip wrote.`
        : `${file.name}: larger than 20 MB, and so no plan of lines.`;
    this.refresh();
    this.onLines();
  }

  // The nearest stretch of the opened lines, within its two ends.
  off() {
    let best = null;
    for (const line of this.lines) {
      for (let k = 1; k < line.points.length; k++) {
        const at = Geo.offLine(this.place, line.points[k - 1], line.points[k]);
        const beyond = Math.max(0, -at.along, at.along - at.length), away = Math.hypot(at.right, beyond);
        if (!best || away < best.away) best = { ...at, away, name: line.name };
      }
    }
    if (!best) return null;
    const side = best.right > 0 ? "steer left" : "steer right";
    return `${best.name}: ${Units.distance(Math.abs(best.right))} off, ${side}`;
  }

  _lines(texts) { Dom.fill(Dom.by("here"), ...texts.map((text) => Dom.make("p", { dir: "auto", text }))); }
}
