// Distances, bearings and positions in words; degrees in, metres out.
const Geo = (() => {
  const RADIUS_M = 6371008.8;
  const rad = (degrees) => degrees * Math.PI / 180;
  const turn = (degrees) => ((degrees % 360) + 360) % 360;

  // Haversine on the mean sphere.
  function distance([lat1, lon1], [lat2, lon2]) {
    const a = Math.sin(rad(lat2 - lat1) / 2) ** 2 +
      Math.cos(rad(lat1)) * Math.cos(rad(lat2)) * Math.sin(rad(lon2 - lon1) / 2) ** 2;
    return 2 * RADIUS_M * Math.asin(Math.min(1, Math.sqrt(a)));
  }

  // First bearing of the great circle, from true north.
  function bearing([lat1, lon1], [lat2, lon2]) {
    const east = Math.sin(rad(lon2 - lon1)) * Math.cos(rad(lat2));
    const north = Math.cos(rad(lat1)) * Math.sin(rad(lat2)) -
      Math.sin(rad(lat1)) * Math.cos(rad(lat2)) * Math.cos(rad(lon2 - lon1));
    return turn(Math.atan2(east, north) * 180 / Math.PI);
  }

  // Declination in a year; past the model's years it is still given, and told to be old.
  function declination({ epoch, last, east_deg: east, per_year: change }, year) {
    return { deg: east + change * (year - epoch), old: year >= last || year < epoch };
  }
  const yearOf = (date) => {
    const start = Date.UTC(date.getUTCFullYear(), 0, 1), end = Date.UTC(date.getUTCFullYear() + 1, 0, 1);
    return date.getUTCFullYear() + (date.getTime() - start) / (end - start);
  };

  // How far a place lies off the line from a to b (above 0: right of it), and how far along it, both in metres.
  function offLine(here, a, b) {
    const flat = ([lat, lon]) => [rad(lon - a[1]) * Math.cos(rad(a[0])) * RADIUS_M, rad(lat - a[0]) * RADIUS_M];
    const [x, y] = flat(here), [dx, dy] = flat(b), length = Math.hypot(dx, dy) || 1;
    return { right: (x * dy - y * dx) / length, along: (x * dx + y * dy) / length, length };
  }

  function degrees(value, letters, style) {
    const letter = letters[value < 0 ? 1 : 0], size = Math.abs(value);
    if (style !== "minutes") return `${size.toFixed(5)}\u00b0\u00a0${letter}`;
    let whole = Math.floor(size), minutes = ((size - whole) * 60).toFixed(3);
    if (minutes === "60.000") { whole += 1; minutes = "0.000"; }
    return `${whole}\u00b0\u00a0${minutes.padStart(6, "0")}\u2032\u00a0${letter}`;
  }
  const wrapped = (lon) => turn(lon + 180) - 180;
  const place = ([lat, lon], style) => `${degrees(lat, "NS", style)}, ${degrees(wrapped(lon), "EW", style)}`;

  const threeFigures = (deg) => String(Math.round(turn(deg)) % 360).padStart(3, "0");
  return { distance, bearing, declination, yearOf, offLine, degrees, place, turn, threeFigures, wrapped };
})();
