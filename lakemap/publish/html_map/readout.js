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
    Dom.by("readout-note").addEventListener("click", () => this.onNote(this.latlng));
    this.onNote = () => {};
    this.onShow = () => {};
    this.toSpot = () => null;
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
      hardnessSigma: value("hardness_sigma"), slope: value("slope"), classes: this._classes(value),
    };
  }

  // Probabilities of the bottom's classes; the last is what the others leave of 1.
  _classes(value) {
    if (!this.data.bottom) return [];
    const names = this.data.bottom.classes;
    const shares = names.slice(0, -1).map((_, k) => value(`class_${k}`));
    const rest = 1 - shares.reduce((sum, share) => sum + share, 0);
    return names.map((name, k) => ({ name, share: Math.max(0, k < shares.length ? shares[k] : rest) }));
  }

  show(latlng) {
    this.latlng = latlng;
    this.cross.setLatLng(latlng).addTo(this.map);
    this.box.hidden = false;
    this.refresh();
    document.body.classList.add("reading");
    this.onShow(latlng);
  }

  close() {
    this.latlng = null;
    this.cross.remove();
    this.box.hidden = true;
    document.body.classList.remove("reading");
  }

  refresh() {
    if (!this.latlng || !this.grid.complete) return;
    const read = this.read(this.latlng);
    const there = Number.isFinite(read.depth);
    const level = there ? Sureness.level(read.depth, read.sigma) : -1;
    const chip = Dom.by("readout-sure");
    chip.textContent = there ? Sureness.WORDS[level] : "Not measured";
    chip.className = `chip level-${level}`;
    Dom.by("readout-depth").textContent = !there ? "No depth here"
      : read.depth + Today.level_m <= 0 && Today.level_m < 0 ? "Dry today" : Units.length(read.depth + Today.level_m);
    Dom.by("readout-error").textContent = !there ? ""
      : Number.isFinite(read.sigma) ? Units.giveOrTake(Sureness.error(read.sigma)) : "error not known";
    Dom.fill(Dom.by("readout-more"), ...this._more(read, there).map((text) => Dom.make("li", { text })));
  }

  _more(read, there) {
    const said = this.nearby.dangersAt(this.latlng).map((danger) => `\u26a0 ${Units.fill(danger)}`);
    if (there && Today.level_m) said.push(`${Units.length(read.depth)} below the map's zero`);
    const passes = this.nearby.passesNear(this.latlng, Readout.REACH_M);
    if (passes) said.push(Readout.passesWords(passes));
    if (this.grid.has("hardness") && there) {
      said.push(`Bottom: ${hardnessWords(read.hardness, read.hardnessSigma, this.data.hard)}`);
    }
    if (there && read.classes.length && read.classes.every(({ share }) => Number.isFinite(share))) {
      said.push(`It is ${Readout.classWords(read.classes)}`);
    }
    const suits = there ? Suited.words(read.depth) : null;
    if (suits) said.push(suits);
    if (there && Number.isFinite(read.slope)) said.push(`Floor falls ${Math.round(read.slope)}\u00b0`);
    const { offset_m: offset, scale } = this.data.common;
    const common = there ? Sureness.error(Math.hypot(offset, scale * read.depth)) : 0;
    if (common > 0) said.push(`Common error besides: up to ${Units.length(common)}`);
    for (const feature of this.nearby.featuresAt(this.latlng)) {
      said.push(`Part of a ${feature.kind}` +
        (Units.known(feature.relief_m) ? `, ${Units.length(feature.relief_m)} of relief` : ""));
    }
    said.push(Geo.place([this.latlng.lat, this.latlng.lng], Positions.style));
    const way = this.toSpot([this.latlng.lat, this.latlng.lng]);
    if (way) said.push(way);
    return said;
  }

  // Likeliest first; what is out of the question is left out.
  static classWords(classes) {
    return [...classes].sort((a, b) => b.share - a.share).filter(({ share }) => share >= 0.05)
      .map(({ name, share }) => `${name} ${share > 0.99 ? "over 99" : Math.round(100 * share)}\u00a0%`).join(", ");
  }

  static passesWords({ nearest, count }) {
    const near = `Nearest pass ${Units.distance(nearest)} away`;
    return count > 1 ? `${near}, ${count} within ${Units.distance(Readout.REACH_M)}` : near;
  }
}
