// A background from a tile server, only where the map was made with one; while it is on, the page says whom it asks.
const Basemap = (() => {
  function layer(told) {
    const asks = Dom.by("asks");
    if (!told) return L.layerGroup();
    const tiles = L.tileLayer(told.url, { maxZoom: 22, maxNativeZoom: 18, referrerPolicy: "no-referrer", className: "basemap" });
    asks.textContent = `The background asks ${told.host} for each place you look at.`;
    tiles.on("add", () => { asks.hidden = false; Keep.set("basemap", "on"); });
    tiles.on("remove", () => { asks.hidden = true; Keep.set("basemap", "off"); });
    return tiles;
  }
  const wanted = () => Keep.get("basemap") !== "off";
  return { layer, wanted };
})();
