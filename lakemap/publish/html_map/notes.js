// The reader's own notes: kept in this browser only, until they are saved as a table of marks.
class Notes {
  constructor(map, lake, magnetic) {
    this.map = map;
    this.key = `notes.${lake}`;
    this.lake = lake;
    this.layer = L.layerGroup();
    this.all = Notes.read(Keep.get(this.key));
    this.about = null;
    this.onChange = () => {};
    Dom.by("note-form").addEventListener("submit", (event) => { event.preventDefault(); this.save(); });
    Dom.by("note-cancel").addEventListener("click", () => this.close());
    Dom.by("note-remove").addEventListener("click", () => { Dom.by("note-text").value = ""; this.save(); });
    Dom.by("notes-export").addEventListener("click", () => this.download());
    this.refresh();
  }

  static read(text) {
    try {
      const found = JSON.parse(text || "[]");
      return Array.isArray(found)
        ? found.filter((note) => Number.isFinite(note?.lat) && Number.isFinite(note?.lon) && typeof note.note === "string")
        : [];
    } catch { return []; }
  }

  // `about` is a place: lat, lon, kind and name.
  open(about) {
    this.about = about;
    Dom.by("note-title").textContent = `Note on ${about.name || "this place"}`;
    const before = this.all.find((note) => Notes.same(note, about));
    Dom.by("note-text").value = before ? before.note : "";
    Dom.by("note-remove").hidden = !before;
    Dom.by("note-form").hidden = false;
    Dom.by("note-text").focus();
  }
  close() {
    Dom.by("note-form").hidden = true;
    this.about = null;
  }
  static same(a, b) { return a.lat === b.lat && a.lon === b.lon; }

  // An emptied note is a note taken away.
  save() {
    const words = Dom.by("note-text").value.trim(), { lat, lon, kind, name } = this.about;
    this.all = this.all.filter((note) => !Notes.same(note, this.about));
    if (words) this.all.push({ lat, lon, kind, name, note: words, time: new Date().toISOString().slice(0, 19) + "Z" });
    const kept = Keep.set(this.key, JSON.stringify(this.all));
    Dom.by("notes-trouble").hidden = kept;
    this.close();
    this.refresh();
    this.onChange();
  }

  refresh() {
    Dom.by("notes").hidden = this.all.length === 0;
    Dom.by("notes-count").textContent = String(this.all.length);
    Dom.fill(Dom.by("notes-list"), ...this.all.map((note) => Dom.make("li", {},
      Dom.make("button", { type: "button", class: "note-row", onclick: () => { this.map.panTo([note.lat, note.lon]); this.open(note); } },
        Dom.make("bdi", { class: "note-name", text: note.name || note.kind }),
        Dom.make("span", { class: "note-words", dir: "auto", text: note.note })))));
    this.layer.clearLayers();
    for (const note of this.all) {
      L.circleMarker([note.lat, note.lon], {
        interactive: false, radius: 6, color: "#0c1c26", weight: 2, fillColor: "#ffffff", fillOpacity: 1, className: "note-dot",
      }).addTo(this.layer);
    }
  }

  of(place) { return this.all.find((note) => Notes.same(note, place)); }
  download() { Exchange.download("own-notes.csv", "text/csv", Exchange.marksCsv(this.all)); }
}
