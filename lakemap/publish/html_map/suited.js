// Water that suits what is sought: bottoms outside its depths are hatched while this is shown.
const Suited = (() => {
  let told = null, shown = false;
  const start = (given) => { told = given; };
  const outside = (depth) => !told.bands.some(([top, bottom]) => depth >= top && depth <= bottom);
  // A layer for the panel: it draws nothing itself, the painter asks.
  const layer = (repaint) => ({
    addTo() { shown = true; repaint(); return this; },
    remove() { shown = false; repaint(); return this; },
    fire() { return this; },
  });
  function words(depth) {
    if (!told || !(depth <= told.deepest_m)) return null;
    const until = told.until ? ` until ${told.until}` : "";
    return outside(depth) ? `Water at the bottom does not suit${until}` : `Water at the bottom suits${until}`;
  }
  return { start, outside, layer, words, get shown() { return shown; }, get told() { return told; } };
})();
