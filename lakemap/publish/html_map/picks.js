// Spots picked for the plotter: a tick on each row, and a GPX file made in the page.
class Picks {
  constructor(spots, caution) {
    this.spots = spots;
    this.caution = caution;
    this.names = new Set();
    Dom.by("picks-all").addEventListener("click", () => this.all());
    Dom.by("picks-gpx").addEventListener("click", () => this.download());
    this.shown = () => this.spots;
    this.refresh();
  }

  box(spot) {
    return Dom.make("label", { class: "pick" },
      Dom.make("input", {
        type: "checkbox", checked: this.names.has(spot.name), "aria-label": `Pick ${spot.name}`,
        onchange: (event) => { this.names[event.target.checked ? "add" : "delete"](spot.name); this.refresh(); },
      }));
  }

  // Takes all that the list shows, or lets them go where all of them are taken.
  all() {
    const names = this.shown().map((spot) => spot.name), every = names.every((name) => this.names.has(name));
    names.forEach((name) => this.names[every ? "delete" : "add"](name));
    document.querySelectorAll(".pick input").forEach((input) => { input.checked = !every; });
    this.refresh();
  }

  refresh() {
    const count = this.names.size;
    Dom.by("picks").hidden = this.spots.length === 0;
    Dom.by("picks-gpx").disabled = count === 0;
    Dom.by("picks-gpx").textContent = count ? `Save ${count} as GPX` : "Tick spots to save as GPX";
  }

  points() {
    return this.spots.filter((spot) => this.names.has(spot.name)).map((spot) => ({
      lat: spot.lat_deg, lon: spot.lon_deg, name: spot.name, type: spot.kind,
      cmt: [`${spot.kind} at ${Units.length(spot.depth_m)}, ${SpotPanel.evidence(spot).toLowerCase()}.`,
        ...spot.reasons.map(Units.fill)].join(" ").replaceAll("\u00a0", " "),
    }));
  }
  download() { Exchange.download("spots.gpx", "application/gpx+xml", Exchange.gpx(this.points(), this.caution)); }
}
