// A scale bar in the unit that is switched on.
class ScaleBar {
  constructor(map) {
    this.map = map;
    map.on("zoomend moveend resize", () => this.refresh());
    this.refresh();
  }

  static LONGEST_PX = 96;

  refresh() {
    const size = this.map.getSize(), y = size.y / 2;
    const a = this.map.containerPointToLatLng([0, y]);
    const b = this.map.containerPointToLatLng([ScaleBar.LONGEST_PX, y]);
    const metres = this.map.distance(a, b);
    if (!(metres > 0)) return;
    const longest = metres / Units.metresPer(Units.word);
    const power = 10 ** Math.floor(Math.log10(longest));
    const nice = [5, 2, 1].find((step) => step * power <= longest) * power;
    const bar = Dom.by("scale-bar");
    bar.style.width = `${ScaleBar.LONGEST_PX * nice / longest}px`;
    Dom.by("scale-text").textContent = `${nice >= 1 ? nice : Number(nice.toPrecision(1))} ${Units.word}`;
  }
}
