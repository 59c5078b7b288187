// Why a place is sure or not: how far the passes are, and what shape of floor it lies on.
class Nearby {
  constructor(data, centre) {
    this.east = 111320 * Math.cos(centre.lat * Math.PI / 180);
    this.north = 110950;
    this.drawn = data.drawn;
    this.packed = data;
  }

  // What dangers and closed areas a place lies in, in their words.
  dangersAt(latlng) {
    this.dangers ??= [...(this.drawn.hazards || []), ...(this.drawn.closed || [])]
      .map((item) => ({ text: item.text, outlines: Overlays.outlines(item.outlines) }));
    return this.dangers.filter((danger) => danger.outlines.some((rings) =>
      rings.filter((ring) => Nearby.within(latlng, ring)).length % 2 === 1)).map((danger) => danger.text);
  }

  // Unpacked at the first tap: a page opens no slower for them.
  get passes() {
    this._passes ??= this.packed.passes.map((pass) => ({
      day: pass.day, lines: pass.lines.map((steps) => Codec.points(steps).map((p) => this._flat(p))),
    }));
    return this._passes;
  }
  get features() {
    this._features ??= this.packed.features.map((feature) => ({
      kind: feature.kind, relief_m: feature.relief_m, outlines: Overlays.outlines(feature.outlines),
    }));
    return this._features;
  }

  _flat([lat, lon]) { return [lon * this.east, lat * this.north]; }

  // Metres to the nearest pass, and how many passes come within `reach` metres; null without passes.
  passesNear(latlng, reach) {
    const here = this._flat([latlng.lat, latlng.lng]);
    const distances = this.passes.map((pass) =>
      Math.min(...pass.lines.map((line) => Nearby.toLine(here, line))));
    if (!distances.length) return null;
    return { nearest: Math.min(...distances), count: distances.filter((d) => d <= reach).length };
  }

  static toLine([x, y], line) {
    let best = Infinity;
    for (let i = 1; i < line.length; i++) {
      const [ax, ay] = line[i - 1], dx = line[i][0] - ax, dy = line[i][1] - ay;
      const square = dx * dx + dy * dy;
      const part = square ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / square)) : 0;
      best = Math.min(best, Math.hypot(x - ax - part * dx, y - ay - part * dy));
    }
    return best;
  }

  featuresAt(latlng) {
    return this.features.filter((feature) =>
      feature.outlines.some((rings) => rings.filter((ring) => Nearby.within(latlng, ring)).length % 2 === 1));
  }

  static within(latlng, ring) {
    let inside = false;
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
      const [lat, lon] = ring[i], [lat2, lon2] = ring[j];
      if ((lat > latlng.lat) !== (lat2 > latlng.lat) &&
          latlng.lng < (lon2 - lon) * (latlng.lat - lat) / (lat2 - lat) + lon) inside = !inside;
    }
    return inside;
  }
}
