// What the colour shows (one of a few, certainty first) and what lies over it (any of them).
class LayerPanel {
  constructor(map, views, overlays, painter) {
    this.map = map;
    this.views = views;
    this.overlays = overlays;
    this.painter = painter;
    this.fade = true;
    this.onChange = () => {};
    Dom.fill(Dom.by("view-choices"), ...Object.values(views).map((view) => this._viewRow(view)));
    Dom.fill(Dom.by("overlay-choices"), ...Object.values(overlays).filter((o) => o.any).map((o) => this._overlayRow(o)));
    Dom.by("fade").addEventListener("change", (event) => {
      this.fade = event.target.checked;
      this.choose(this.painter.view);
    });
    this._wireTools();
    const button = Dom.by("layers-button");
    button.addEventListener("click", () => this.open(Dom.by("layers").hidden));
    Dom.by("layers-close").addEventListener("click", () => { this.open(false); button.focus(); });
  }

  // How far apart lines are, how positions are written, and the colours of the night.
  _wireTools() {
    const style = Dom.by("positions"), night = Dom.by("night");
    style.value = Positions.style;
    style.addEventListener("change", () => Positions.choose(style.value));
    const turn = (on) => { document.body.classList.toggle("night", on); night.checked = on; };
    night.addEventListener("change", () => { turn(night.checked); Keep.set("night", night.checked ? "yes" : "no"); });
    turn(Keep.get("night") === "yes");
  }

  wireLines(contours) {
    const select = Dom.by("line-every");
    const fill = () => {
      const round = contours.asked_m ? Units.inUnit(contours.asked_m) : contours.roundStep();
      const label = (step) => `${Number(step.toPrecision(3))} ${Units.word}`;
      const steps = [0.5, 1, 2, 5, 10, 20, 50].filter((step) => step >= round / 6 && step <= round * 12);
      Dom.fill(select, Dom.make("option", { value: "0", text: `as made (${label(round)})` }),
        ...steps.map((step) => Dom.make("option", { value: String(step), text: label(step) })));
      contours.chosen = 0;
    };
    select.addEventListener("change", () => { contours.chosen = Number(select.value); contours.trace(); });
    Units.onChange(() => { fill(); contours.trace(); });
    fill();
  }

  open(wanted) {
    Dom.by("layers").hidden = !wanted;
    Dom.by("layers-button").setAttribute("aria-expanded", String(wanted));
  }

  _viewRow(view) {
    const bar = Dom.make("span", { class: "view-ramp", "aria-hidden": "true" });
    bar.style.background = Legend.gradient(view);
    const radio = Dom.make("input", {
      type: "radio", name: "view", value: view.name, onchange: () => this.choose(view.name),
    });
    view.radio = radio;
    return Dom.make("label", { class: `choice view-choice view-${view.name}` }, radio,
      Dom.make("span", { class: "choice-name", text: view.label }), bar);
  }

  _overlayRow(overlay) {
    const box = Dom.make("input", {
      type: "checkbox", value: overlay.name, checked: overlay.on,
      onchange: (event) => this.toggle(overlay, event.target.checked),
    });
    if (overlay.on) overlay.layer.addTo(this.map).fire("shown");
    return Dom.make("label", { class: "choice" }, box, Dom.make("span", { class: "choice-name", text: overlay.label }),
      Dom.make("span", { class: `key key-${overlay.name}`, "aria-hidden": "true" }));
  }

  toggle(overlay, on) {
    overlay.on = on;
    if (on) overlay.layer.addTo(this.map).fire("shown");
    else overlay.layer.remove();
    this.onChange();
  }

  choose(name) {
    this.views[name].radio.checked = true;
    this.painter.show(name, this.fade);
    Keep.set("view", name);
    Dom.by("fade-line").hidden = name === "sure";
    this.onChange();
  }
}
