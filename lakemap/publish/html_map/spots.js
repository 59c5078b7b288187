// The list of spots and the card of one: reasons and evidence first, figures after.
class SpotPanel {
  constructor(map, data, caution) {
    this.map = map;
    this.here = null;
    this.notes = null;
    this.hard = data.hard;
    this.spots = data.spots.map((spot, k) => ({ ...spot, rank: k + 1 }));
    this.chosen = null;
    this.layer = L.layerGroup();
    this.circle = null;
    this.onOpen = () => {};
    this.onMove = (latlng) => map.panTo(latlng);
    this.picks = new Picks(this.spots, caution);
    this.picks.shown = () => this.shown();
    this._placeMarkers(data.bounds);
    this._filters();
    Dom.by("spot-order").addEventListener("change", () => this.list());
    Dom.by("card-back").addEventListener("click", () => this.close());
    Dom.by("card-note").addEventListener("click", () => this.notes?.open(this.placeOf(this.chosen)));
    this.list();
    map.on("zoomend", () => this.declutter());
    this.layer.on("shown", () => this.declutter());
  }

  _placeMarkers([[, west], [, east]]) {
    const middle = (west + east) / 2;
    for (const spot of this.spots) {
      spot.latlng = L.latLng(spot.lat_deg, spot.lon_deg + 360 * Math.round((middle - spot.lon_deg) / 360));
      const icon = L.divIcon({ className: "spot-icon", html: SpotPanel.mark(spot), iconSize: [44, 44] });
      spot.marker = L.marker(spot.latlng, { icon, keyboard: true, title: spot.name, alt: `Spot ${spot.rank}` });
      spot.marker.setZIndexOffset(10 * (this.spots.length - spot.rank));
      spot.marker.on("click", () => this.open(spot));
      spot.marker.on("keypress", ({ originalEvent: event }) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        this.open(spot);
      });
    }
  }

  // Where marks would cover each other the better one keeps its number, the others become dots until zoomed in.
  declutter() {
    const kept = [];
    for (const spot of this.spots.filter(({ marker }) => this.layer.hasLayer(marker))) {
      const at = this.map.latLngToLayerPoint(spot.latlng);
      const small = spot !== this.chosen && kept.some((other) => other.distanceTo(at) < SpotPanel.APART_PX);
      if (!small) kept.push(at);
      spot.marker.getElement()?.classList.toggle("small", small);
    }
  }

  static APART_PX = 33;

  // Our own mark: a disc with the spot's number, and a ring that is full as far as the passes over it saw it.
  static mark(spot) {
    const round = 2 * Math.PI * 14;
    const share = spot.could_see > 0 ? Math.min(1, spot.seen / spot.could_see) : 0;
    const number = Dom.svg("text", { x: 22, y: 22, dy: "0.36em", "text-anchor": "middle" });
    number.textContent = String(spot.rank);
    return Dom.svg("svg", { viewBox: "0 0 44 44", width: 44, height: 44, class: "spot-mark", "aria-hidden": "true" },
      Dom.svg("circle", { class: "halo", cx: 22, cy: 22, r: 17.5 }),
      Dom.svg("circle", { class: "disc", cx: 22, cy: 22, r: 14 }),
      Dom.svg("circle", {
        class: "seen", cx: 22, cy: 22, r: 14, transform: "rotate(-90 22 22)",
        "stroke-dasharray": `${(share * round).toFixed(2)} ${round.toFixed(2)}`,
      }),
      number);
  }

  static ORDERS = {
    best: (a, b) => a.rank - b.rank,
    surest: (a, b) => (b.probability ?? -1) - (a.probability ?? -1) || a.rank - b.rank,
    shallow: (a, b) => (a.depth_m ?? 1e9) - (b.depth_m ?? 1e9) || a.rank - b.rank,
  };

  _filters() {
    const kinds = [...new Set(this.spots.map((spot) => spot.kind))].sort();
    const option = (value, text) => Dom.make("option", { value, text });
    Dom.fill(Dom.by("spot-kind"), option("", "every kind"), ...kinds.map((kind) => option(kind, kind)));
    Dom.by("spot-filter").hidden = this.spots.length < 2;
    Dom.by("spot-kind").addEventListener("change", () => this.list());
    Dom.by("spot-search").addEventListener("input", () => this.list());
  }

  // A text as it is searched: no marks over letters, and what joins two words is a space.
  static plain(text) {
    return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().replace(/[-\u2010-\u2015_/,]/g, " ");
  }
  // Each word must be there, in any order; one or many of a thing is the same.
  static words(text) {
    return SpotPanel.plain(text).split(/\s+/).filter(Boolean)
      .map((word) => (word.length > 3 && /[^s]s$/.test(word) ? word.slice(0, -1) : word));
  }

  // What the filters let through, in the order chosen.
  shown() {
    const kind = Dom.by("spot-kind").value, words = SpotPanel.words(Dom.by("spot-search").value);
    const has = (spot) => {
      const said = SpotPanel.plain([spot.name, spot.kind, ...spot.reasons].join(" "));
      return words.every((word) => said.includes(word));
    };
    return this.spots.filter((spot) => (!kind || spot.kind === kind) && has(spot))
      .sort(SpotPanel.ORDERS[Dom.by("spot-order").value]);
  }

  // On the map stand the marks of what the list shows, the best first for who goes from one to the next by keys.
  _showMarks(shown) {
    const wanted = this.spots.filter((spot) => shown.includes(spot));
    if (wanted.length === this.layer.getLayers().length && wanted.every((spot) => this.layer.hasLayer(spot.marker))) return;
    this.layer.clearLayers();
    wanted.forEach((spot) => this.layer.addLayer(spot.marker));
    this.declutter();
  }

  list() {
    const shown = this.shown();
    this._showMarks(shown);
    Dom.by("picks-all").disabled = shown.length === 0;
    Dom.fill(Dom.by("spot-list"), ...shown.map((spot) =>
      Dom.make("li", { class: "spot-item" }, this._row(spot), this.picks.box(spot))));
    Dom.by("none-shown").hidden = shown.length > 0 || this.spots.length === 0;
    Dom.by("spot-count").textContent = shown.length < this.spots.length
      ? `${shown.length} of ${this.spots.length}` : String(this.spots.length);
    Dom.by("handle-count").textContent = this.spots.length ? ` (${this.spots.length})` : "";
    Dom.by("no-spots").hidden = this.spots.length > 0;
    Dom.by("spot-order-line").hidden = this.spots.length < 2;
  }

  _row(spot) {
    return Dom.make("button", { type: "button", class: "spot-row", onclick: () => this.open(spot) },
      SpotPanel.mark(spot),
      Dom.make("span", { class: "spot-row-text" },
        Dom.make("bdi", { class: "spot-row-name", text: spot.name }),
        Dom.make("span", { class: "spot-row-why", text: SpotPanel.evidence(spot) })),
      Dom.make("span", { class: "spot-row-depth", text: Units.known(spot.depth_m) ? SpotPanel.depthToday(spot) : "" }));
  }

  // As deep as the water stands today.
  static depthToday({ depth_m: depth }) {
    if (!Units.known(depth)) return Units.length(depth);
    return depth + Today.level_m <= 0 ? "dry" : Units.length(depth + Today.level_m);
  }

  static evidence(spot) {
    const passes = (n) => `${n} ${n === 1 ? "pass" : "passes"}`;
    if (!spot.could_see) return spot.seen ? `Seen by ${passes(spot.seen)}` : "Marked by hand, no pass over it";
    return `Seen by ${spot.seen} of ${passes(spot.could_see)} over it`;
  }

  open(spot) {
    this.close();
    this.chosen = spot;
    spot.marker.getElement()?.classList.add("chosen");
    spot.marker.setZIndexOffset(100000);
    if (Units.known(spot.position_sigma_m)) {
      this.circle = L.circle(spot.latlng, {
        radius: Sureness.error(spot.position_sigma_m), interactive: false, className: "place-error",
        color: "#8f2d06", weight: 2, dashArray: "4 3", fill: false,
      }).addTo(this.map);
    }
    this.declutter();
    this.card();
    Dom.by("spots").hidden = true;
    Dom.by("card").hidden = false;
    document.body.classList.add("card-open");
    Dom.by("drawer-body").scrollTop = 0;
    this.here?.aim({ name: spot.name, place: [spot.lat_deg, spot.lon_deg] });
    this.onOpen(spot);
    this.onMove(spot.latlng);
    Dom.by("card-title").focus({ preventScroll: true });
  }

  close() {
    if (!this.chosen) return;
    this.chosen.marker.getElement()?.classList.remove("chosen");
    this.chosen.marker.setZIndexOffset(10 * (this.spots.length - this.chosen.rank));
    this.circle?.remove();
    this.circle = null;
    this.chosen = null;
    this.here?.aim(null);
    this.declutter();
    Dom.by("card").hidden = true;
    document.body.classList.remove("card-open");
    Dom.by("spots").hidden = false;
  }

  refresh() {
    this.list();
    if (this.chosen) this.card();
  }

  placeOf(spot) { return { lat: spot.lat_deg, lon: spot.lon_deg, kind: spot.kind, name: spot.name }; }

  card() {
    const spot = this.chosen;
    Dom.by("card-title").textContent = spot.name;
    Dom.by("card-kind").textContent = `Spot ${spot.rank} of ${this.spots.length} \u00b7 ${spot.kind}`;
    Dom.fill(Dom.by("card-evidence"), ...this._evidence(spot));
    Dom.fill(Dom.by("card-reasons"),
      ...spot.reasons.map((said) => Dom.make("li", { dir: "auto", text: Units.fill(said) })));
    Dom.by("card-why").hidden = spot.reasons.length === 0;
    Dom.fill(Dom.by("card-passes"), ...Section.pictures(spot.passes));
    Dom.fill(Dom.by("card-facts"), ...this._facts(spot).flatMap(([name, value, look]) =>
      [Dom.make("dt", { text: name }), Dom.make("dd", { text: value, dir: "auto", class: look ?? null })]));
    const parts = Object.entries(spot.parts).filter(([, value]) => Units.known(value));
    Dom.by("card-score").hidden = parts.length === 0;
    Dom.by("card-total").textContent = Units.known(spot.score) ? `${Math.round(100 * spot.score)} of 100` : "";
    Dom.fill(Dom.by("card-parts"), ...parts.map(([name, value]) => SpotPanel.bar(name, value)));
  }

  _evidence(spot) {
    const dots = Dom.make("span", { class: "dots", "aria-hidden": "true" });
    const shown = Math.min(spot.could_see, 12);
    for (let k = 0; k < shown; k++) {
      dots.append(Dom.make("i", { class: k < Math.round(spot.seen * shown / spot.could_see) ? "dot seen" : "dot" }));
    }
    const chance = Units.known(spot.probability) ? `Something is there: ${SpotPanel.chance(spot)}` : null;
    return [
      Dom.make("p", { class: "evidence-line" }, dots, Dom.make("strong", { text: SpotPanel.evidence(spot) })),
      chance ? Dom.make("p", { text: chance }) : null,
    ];
  }

  // A share that is nearly one is never said to be all.
  static chance({ probability, prob_low: low, prob_high: high }) {
    const percent = (share) => Math.round(100 * share);
    const said = (share) => (percent(share) === 100 ? "over 99\u00a0%" : `${percent(share)}\u00a0%`);
    const range = Units.known(low) && Units.known(high) && percent(low) < percent(high)
      ? ` (between ${percent(low)} and ${said(high)})` : "";
    return said(probability) + range;
  }

  _facts(spot) {
    const depth = SpotPanel.depthToday(spot) +
      (Units.known(spot.depth_sigma_m) ? ` ${Units.giveOrTake(Sureness.error(spot.depth_sigma_m))}` : "");
    const place = Geo.place([spot.lat_deg, spot.lon_deg], Positions.style);
    const from = this.here?.place;
    return [
      [Today.level_m ? "Depth today" : "Depth", depth],
      Units.known(spot.height_m) ? ["Stands up", Units.length(spot.height_m)] : null,
      ["Bottom", hardnessWords(spot.hardness, NaN, this.hard)],
      ["Place", place],
      Units.known(spot.position_sigma_m)
        ? ["Place is within", Units.distance(Sureness.error(spot.position_sigma_m))] : null,
      from ? ["From here", this.here.way(from, [spot.lat_deg, spot.lon_deg])] : null,
      spot.last_seen ? ["Last seen", spot.last_seen] : null,
      this.notes?.of({ lat: spot.lat_deg, lon: spot.lon_deg })
        ? ["Own note", this.notes.of({ lat: spot.lat_deg, lon: spot.lon_deg }).note, "own-note"] : null,
    ].filter(Boolean);
  }

  static bar(name, value) {
    const meter = Dom.make("i", { class: "part-fill" });
    meter.style.width = `${Math.round(100 * Math.min(1, Math.max(0, value)))}%`;
    return Dom.make("li", {},
      Dom.make("span", { class: "part-name", text: name.replaceAll("_", " ") }),
      Dom.make("span", { class: "part-bar", "aria-hidden": "true" }, meter),
      Dom.make("span", { class: "part-value", text: String(Math.round(100 * value)) }));
  }
}

// Hardness in a word, its figure and its error.
function hardnessWords(value, sigma, [soft, hard]) {
  if (!Units.known(value)) return "not observed";
  const word = value < soft ? "soft" : value >= hard ? "hard" : "medium";
  const error = Units.known(sigma) ? ` \u00b1\u00a0${Sureness.error(sigma).toFixed(2)}` : "";
  return `${word} (${value.toFixed(2)}${error})`;
}
