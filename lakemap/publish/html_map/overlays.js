// Shoreline, passes and features; none of them takes the tap, which always reads the place.
const Overlays = (() => {
  const outlines = (rings) => rings.map((polygon) => polygon.map((ring) => Codec.points(ring)));

  function shore(rings, renderer) {
    return L.polygon(outlines(rings), {
      renderer, interactive: false, fill: false, color: "#14212a", weight: 1.8, smoothFactor: 0.5,
    });
  }

  function passes(found, renderer) {
    const line = (pass) => L.polyline(pass.lines.map((steps) => Codec.points(steps)), {
      renderer, interactive: false, color: "#10212b", weight: 0.8, opacity: 0.38,
      smoothFactor: 0.5,
    });
    return L.layerGroup(found.map(line));
  }

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
    const group = L.layerGroup(), names = [];
    for (const feature of found) {
      L.polygon(outlines(feature.outlines), {
        renderer, interactive: false, color: "#5a3c00", weight: 1.6, dashArray: "6 3", fillColor: "#ffffff",
        fillOpacity: 0.12, smoothFactor: 0.5,
      }).addTo(group);
      const name = document.createElement("span");
      name.textContent = feature.kind;
      names.push(L.marker(Codec.points(feature.anchor)[0], {
        interactive: false, keyboard: false, pane: "names",
        icon: L.divIcon({ className: "feature-name", html: name, iconSize: null }),
      }).addTo(group));
    }
    group.on("shown", () => declutter(map, names));
    map.on("zoomend", () => declutter(map, names));
    return group;
  }

  return { shore, passes, features, outlines };
})();
