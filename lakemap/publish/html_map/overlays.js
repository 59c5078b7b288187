// What the panel can lay over the colour; none of it takes the tap, which always reads the place.
const Overlays = (() => {
  const outlines = (rings) => rings.map((polygon) => polygon.map((ring) => Codec.points(ring)));

  function name(item, words, className, size) {
    const text = document.createElement("span");
    text.textContent = words;
    return L.marker(Codec.points(item.anchor)[0], {
      interactive: false, keyboard: false, pane: "names", icon: L.divIcon({ className, html: text, iconSize: size }),
    });
  }

  // Dangers carry a mark as well, so that a small one is not missed.
  const drawn = (kind, items, sketch) => sketch.layer(kind, items, (group) =>
    items.filter((item) => item.anchor).forEach((item) => name(item, "!", "danger-mark", [22, 22]).addTo(group)));

  // A name that would run into another is left out until there is room.
  function declutter(map, names) {
    const kept = [];
    for (const one of names) {
      const at = map.latLngToLayerPoint(one.getLatLng());
      const free = kept.every((other) => Math.abs(other.x - at.x) > 84 || Math.abs(other.y - at.y) > 20);
      if (free) kept.push(at);
      one.getElement()?.classList.toggle("crowded", !free);
    }
  }

  function features(found, sketch, map) {
    const names = [];
    const group = sketch.layer("features", found, () => {
      names.push(...found.map((feature) => name(feature, feature.kind, "feature-name", null).addTo(group)));
    });
    group.on("shown", () => declutter(map, names));
    map.on("zoomend", () => declutter(map, names));
    return group;
  }

  return { features, outlines, drawn };
})();
