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
    const button = Dom.by("layers-button");
    button.addEventListener("click", () => this.open(Dom.by("layers").hidden));
    Dom.by("layers-close").addEventListener("click", () => { this.open(false); button.focus(); });
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
    Dom.by("fade-line").hidden = name === "sure";
    this.onChange();
  }
}
