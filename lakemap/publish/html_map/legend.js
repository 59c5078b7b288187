// What the colours and lines that are on mean.
class Legend {
  constructor(views, overlays, hard) {
    this.views = views;
    this.overlays = overlays;
    this.hard = hard;
    this.lines = () => [];
    // On the phone the map needs the room: what is drawn over the colour is named when asked for.
    const wide = window.matchMedia(WIDE);
    const room = () => { Dom.by("legend-more").open = wide.matches; };
    wide.addEventListener("change", room);
    room();
  }

  static gradient(view) {
    const stops = [0, 32, 64, 96, 128, 160, 192, 224, 255].map((at) => Legend.css(view.lut[at]));
    return `linear-gradient(90deg, ${stops.join(", ")})`;
  }
  // 1, 2 or 5 times a power of ten, at least `least`.
  static niceStep(least) {
    const power = 10 ** Math.floor(Math.log10(least));
    return power * [1, 2, 5, 10].find((times) => times * power >= least * 0.999);
  }
  static css(abgr) {
    return `rgb(${abgr & 255}, ${(abgr >> 8) & 255}, ${(abgr >> 16) & 255})`;
  }

  show(name, fade) {
    const view = this.views[name];
    Dom.by("legend-title").textContent = view.title();
    const bar = Dom.by("legend-bar");
    bar.style.background = Legend.gradient(view);
    Dom.fill(Dom.by("legend-ticks"), ...this._ticks(view));
    Dom.by("legend-guess").hidden = !view.sigma || name === "hardness";
    Dom.by("legend-fade").hidden = name === "sure" || !fade;
    const drawn = [...Object.values(this.overlays).filter((overlay) => overlay.any && overlay.on), ...this.asked()];
    Dom.by("legend-more").hidden = !drawn.length;
    Dom.by("legend-count").textContent = `Drawn over it: ${drawn.length}`;
    Dom.fill(Dom.by("legend-lines"), ...drawn.map((overlay) => Dom.make("li", {},
      Dom.make("span", { class: `key key-${overlay.name}`, "aria-hidden": "true" }),
      Dom.make("span", { text: overlay.name === "suited" ? Suited.legend() : overlay.label }))));
  }

  // What is drawn because today's level, a band of depths or lines to drive were asked for.
  asked() {
    const words = {
      band: "Ends of the depths asked for", shallow: `Shallow today: ${Units.length(Today.shallow_m())}`,
      dry: "Falls dry today",
    };
    const edges = [...new Set(Today.edges().map(({ kind }) => kind))].map((kind) => ({ name: kind, label: words[kind] }));
    return this.lines().length ? [...edges, { name: "lines", label: "Lines to drive" }] : edges;
  }

  _ticks(view) {
    if (!view.shown) return this._hardnessTicks();
    const from = view.shown(view.low), to = view.shown(view.low + view.span);
    const step = Legend.niceStep((to - from) / 4.5), decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const found = [];
    for (let k = Math.ceil(from / step - 1e-9); k * step <= to + 1e-9; k++) {
      const tick = Dom.make("span", { text: (k * step).toFixed(decimals) });
      tick.style.left = `${100 * (k * step - from) / (to - from)}%`;
      found.push(tick);
    }
    return found;
  }

  // Words stand in the middle of their stretch of the bar.
  _hardnessTicks() {
    const [soft, hard] = this.hard;
    return [["soft", 0, soft], ["medium", soft, hard], ["hard", hard, 1]].map(([word, from, to]) => {
      const tick = Dom.make("span", { text: word });
      tick.style.left = `${50 * (from + to)}%`;
      return tick;
    });
  }
}
