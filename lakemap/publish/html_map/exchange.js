// Files made in the page: GPX waypoints, a table of marks; and the lines of a GPX file that is opened.
const Exchange = (() => {
  const NOT_XML = /[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu;
  const xml = (text) => String(text).replace(NOT_XML, "\ufffd")
    .replace(/[&<>"]/g, (letter) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" }[letter]));
  const deg = (value) => (Math.round(value * 1e7) / 1e7).toFixed(7);

  // GPX 1.1; depth and reasons in cmt, as ele is a height.
  function gpx(points, caution) {
    const waypoint = ({ lat, lon, name, cmt, type }) =>
      ` <wpt lat="${deg(lat)}" lon="${deg(Geo.wrapped(lon))}">\n  <name>${xml(name)}</name>\n` +
      (cmt ? `  <cmt>${xml(cmt)}</cmt>\n` : "") + (type ? `  <type>${xml(type)}</type>\n` : "") + " </wpt>\n";
    return '<?xml version="1.0" encoding="UTF-8"?>\n' +
      '<gpx version="1.1" creator="lakemap" xmlns="http://www.topografix.com/GPX/1/1">\n' +
      ` <metadata><desc>${xml(caution)}</desc></metadata>\n${points.map(waypoint).join("")}</gpx>\n`;
  }

  // A cell that a spreadsheet would run as a formula gets an apostrophe in front.
  function cell(value) {
    let text = String(value ?? "").replace(/[\r\n]+/g, " ");
    if (/^[=+\-@\t]/.test(text)) text = `'${text}`;
    return /[",;\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  }
  function marksCsv(notes) {
    const row = (note) => [deg(note.lat), deg(Geo.wrapped(note.lon)),
      ...[note.kind, note.name, note.note, note.time].map(cell)].join(",");
    return ["lat,lon,kind,name,note,time", ...notes.map(row)].join("\r\n") + "\r\n";
  }

  function download(name, type, text) {
    const url = URL.createObjectURL(new Blob([text], { type }));
    const link = Dom.make("a", { href: url, download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  }

  // Routes and tracks of a GPX file as lists of [lat, lon], with their names; none of what is no XML.
  function routes(text) {
    if (!Markup.wellFormed(text)) return [];
    const read = new DOMParser().parseFromString(text, "application/xml");
    const all = (node, tag) => [...node.getElementsByTagNameNS("*", tag)];
    const places = (points) => points.map((point) => [Number(point.getAttribute("lat")), Number(point.getAttribute("lon"))])
      .filter(([lat, lon]) => Number.isFinite(lat) && Number.isFinite(lon) && Math.abs(lat) <= 90);
    const named = (node, k) => all(node, "name")[0]?.textContent || `line ${k + 1}`;
    return [
      ...all(read, "rte").map((route, k) => ({ name: named(route, k), points: places(all(route, "rtept")) })),
      ...all(read, "trkseg").map((track, k) => ({ name: `track ${k + 1}`, points: places(all(track, "trkpt")) })),
    ].filter((line) => line.points.length > 1);
  }

  return { gpx, marksCsv, cell, download, routes, xml };
})();
