// A tap anywhere: how sure, how deep, how hard, and why.
class Readout {
  constructor(map, grid, data, nearby) {
    this.map = map;
    this.grid = grid;
    this.data = data;
    this.nearby = nearby;
    this.box = Dom.by("readout");
    this.latlng = null;
    this.cross = L.marker([0, 0], {
      interactive: false, keyboard: false,
      icon: L.divIcon({ className: "tap-cross", html: Readout.crossMark(), iconSize: [36, 36] }),
    });
    Dom.by("readout-close").addEventListener("click", () => this.close());
    map.on("click", (event) => this.show(event.latlng));
  }

  static REACH_M = 25;

  static crossMark() {
    return Dom.svg("svg", { viewBox: "0 0 36 36", width: 36, height: 36, "aria-hidden": "true" },
      Dom.svg("path", { class: "cross-halo", d: "M18 3v10M18 23v10M3 18h10M23 18h10" }),
      Dom.svg("path", { class: "cross", d: "M18 3v10M18 23v10M3 18h10M23 18h10" }));
  }

  read(latlng) {
    const place = this.grid.at(latlng);
    const value = (name) => this.grid.value(name, place);
    return {
      depth: value("depth"), sigma: value("depth_sigma"), hardness: value("hardness"),
      hardnessSigma: value("hardness_sigma"), slope: value("slope"),
    };
  }

  show(latlng) {
    this.latlng = latlng;
    this.cross.setLatLng(latlng).addTo(this.map);
    this.refresh();
    this.box.hidden = false;
    document.body.classList.add("reading");
  }

  close() {
    this.latlng = null;
    this.cross.remove();
    this.box.hidden = true;
    document.body.classList.remove("reading");
  }

  refresh() {
    if (!this.latlng) return;
    const read = this.read(this.latlng);
    const there = Number.isFinite(read.depth);
    const level = there ? Sureness.level(read.depth, read.sigma) : -1;
    const chip = Dom.by("readout-sure");
    chip.textContent = there ? Sureness.WORDS[level] : "Not measured";
    chip.className = `chip level-${level}`;
    Dom.by("readout-depth").textContent = there ? Units.length(read.depth) : "No depth here";
    Dom.by("readout-error").textContent = !there ? ""
      : Number.isFinite(read.sigma) ? Units.giveOrTake(Sureness.error(read.sigma)) : "error not known";
    Dom.fill(Dom.by("readout-more"), ...this._more(read, there).map((text) => Dom.make("li", { text })));
  }

  _more(read, there) {
    const said = [];
    const passes = this.nearby.passesNear(this.latlng, Readout.REACH_M);
    if (passes) said.push(Readout.passesWords(passes));
    if (this.grid.has("hardness") && there) {
      said.push(`Bottom: ${hardnessWords(read.hardness, read.hardnessSigma, this.data.hard)}`);
    }
    if (there && Number.isFinite(read.slope)) said.push(`Floor falls ${Math.round(read.slope)}\u00b0`);
    const { offset_m: offset, scale } = this.data.common;
    const common = there ? Sureness.error(Math.hypot(offset, scale * read.depth)) : 0;
    if (common > 0) said.push(`Common error besides: up to ${Units.length(common)}`);
    for (const feature of this.nearby.featuresAt(this.latlng)) {
      said.push(`Part of a ${feature.kind}` +
        (Units.known(feature.relief_m) ? `, ${Units.length(feature.relief_m)} of relief` : ""));
    }
    return said;
  }

  static passesWords({ nearest, count }) {
    const near = `Nearest pass ${Units.distance(nearest)} away`;
    return count > 1 ? `${near}, ${count} within ${Units.distance(Readout.REACH_M)}` : near;
  }
}
