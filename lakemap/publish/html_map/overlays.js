// Lines, areas and points over the colour; none of them takes the tap, which always reads the place.
const Overlays = (() => {
  const outlines = (rings) => rings.map((polygon) => polygon.map((ring) => Codec.points(ring)));
  const quiet = { interactive: false, smoothFactor: 0.5 };

  // Our own strokes: weight, dash and fill tell layers apart where colour cannot.
  const STYLE = {
    hazards: { color: "#0c1c26", weight: 2.6, dashArray: "2 5", fillColor: "#f0b400", fillOpacity: 0.5 },
    closed: { color: "#0c1c26", weight: 3, dashArray: "12 6", fillColor: "#0c1c26", fillOpacity: 0.3 },
    gaps: { color: "#0c1c26", weight: 1.4, dashArray: "1 4", fillColor: "#ffffff", fillOpacity: 0.45 },
    edges: { color: "#3b1466", weight: 3, opacity: 0.9 },
    weed: { color: "#0b4f8a", weight: 2, dashArray: "3 4", fillColor: "#0b4f8a", fillOpacity: 0.18 },
    moved: { color: "#7a3b00", weight: 2, dashArray: "8 3 2 3", fillColor: "#7a3b00", fillOpacity: 0.15 },
    hits: { color: "#ffffff", weight: 1, fillColor: "#0d4258", fillOpacity: 0.9, radius: 3.2 },
    flagged: { color: "#0c1c26", weight: 1.4, fillColor: "#ffffff", fillOpacity: 0.9, radius: 2.6 },
    shore: { color: "#14212a", weight: 1.8, fill: false },
    passes: { color: "#10212b", weight: 0.8, opacity: 0.38 },
    features: { color: "#5a3c00", weight: 1.6, dashArray: "6 3", fillColor: "#ffffff", fillOpacity: 0.12 },
  };

  // Made when first shown: a page opens no slower for what is off.
  function lazy(make) {
    const group = L.layerGroup();
    group.once("add", () => make(group));
    return group;
  }

  function drawn(name, items, renderer) {
    const style = { ...quiet, ...STYLE[name], renderer };
    return lazy((group) => {
      for (const item of items) {
        if (item.outlines) L.polygon(outlines(item.outlines), style).addTo(group);
        for (const steps of item.lines || []) L.polyline(Codec.points(steps), style).addTo(group);
        for (const place of item.points ? Codec.points(item.points) : []) L.circleMarker(place, style).addTo(group);
        if (item.anchor) label(item, group);
      }
    });
  }

  function label(item, group) {
    const mark = document.createElement("span");
    mark.textContent = "!";
    L.marker(Codec.points(item.anchor)[0], {
      interactive: false, keyboard: false, pane: "names",
      icon: L.divIcon({ className: "danger-mark", html: mark, iconSize: [22, 22] }),
    }).addTo(group);
  }

  const shore = (rings, renderer) => lazy((group) =>
    L.polygon(outlines(rings), { ...quiet, ...STYLE.shore, renderer }).addTo(group));

  const passes = (found, renderer) => lazy((group) => found.forEach((pass) =>
    L.polyline(pass.lines.map((steps) => Codec.points(steps)), { ...quiet, ...STYLE.passes, renderer }).addTo(group)));

  // A name that would run into another is left out until there is room.
  function declutter(map, names) {
    const kept = [];
    for (const name of names) {
      const at = map.latLngToLayerPoint(name.getLatLng());
      const free = kept.every((other) => Math.abs(other.x - at.x) > 84 || Math.abs(other.y - at.y) > 20);
      if (free) kept.push(at);
      name.getElement()?.classList.toggle("crowded", !free);
    }
  }

  function features(found, renderer, map) {
    const names = [];
    const group = lazy(() => found.forEach((feature) => {
      L.polygon(outlines(feature.outlines), { ...quiet, ...STYLE.features, renderer }).addTo(group);
      const name = document.createElement("span");
      name.textContent = feature.kind;
      names.push(L.marker(Codec.points(feature.anchor)[0], {
        interactive: false, keyboard: false, pane: "names",
        icon: L.divIcon({ className: "feature-name", html: name, iconSize: null }),
      }).addTo(group));
    }));
    group.on("shown", () => declutter(map, names));
    map.on("zoomend", () => declutter(map, names));
    return group;
  }

  return { shore, passes, features, outlines, drawn };
})();
