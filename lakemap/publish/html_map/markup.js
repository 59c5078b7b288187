// Whether a text is XML that the browser's parser will take: of what it does not, the parser makes a page of its own,
// which this page's policy refuses aloud. Stricter than XML 1.0: ASCII names, no DOCTYPE.
const Markup = (() => {
  const NAME = "[A-Za-z_][\\w.-]*(?::[A-Za-z_][\\w.-]*)?";
  const VALUE = `(?:"[^"<]*"|'[^'<]*')`;
  const HEAD = /^\ufeff?<\?xml\s+version\s*=\s*(?:"1\.0"|'1\.0')(?:\s+encoding\s*=\s*(?:"[A-Za-z][\w.-]*"|'[A-Za-z][\w.-]*'))?(?:\s+standalone\s*=\s*["'](?:yes|no)["'])?\s*\?>/;
  const ASIDE = "<!--(?:(?!--)[^])*-->|<\\?(?![xX][mM][lL][\\s?])[A-Za-z_][\\w.-]*(?:\\s[^]*?)?\\?>";
  const PIECE = new RegExp(`${ASIDE}|(<!\\[CDATA\\[[^]*?\\]\\]>)|<(/?)(${NAME})((?:\\s+${NAME}\\s*=\\s*${VALUE})*)\\s*(/?)>`, "y");
  const ATTRIBUTE = new RegExp(`(${NAME})\\s*=\\s*${VALUE}`, "g");
  const BARRED = /[\0-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]|[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/;

  const is_character = (code) => [9, 10, 13].includes(code) || (code >= 32 && code < 0xd800) ||
    (code >= 0xe000 && code <= 0x10ffff && code !== 0xfffe && code !== 0xffff);
  function references(text) {
    return [...text.matchAll(/&([^;]*;?)/g)].every(([, told]) => /^(?:amp|lt|gt|quot|apos);$/.test(told) ||
      (/^#(?:\d+|x[\da-fA-F]+);$/.test(told) && is_character(Number(`0${told.slice(1, -1)}`.replace(/^0(?=\d)/, "")))));
  }
  const sound = (words) => !/<|\]\]>/.test(words) && references(words);

  // Prefixes that a start tag binds and uses; null where an attribute stands twice.
  function prefixes(name, attributes) {
    const names = [...attributes.matchAll(ATTRIBUTE)].map(([, one]) => one);
    if (new Set(names).size < names.length) return null;
    const bound = names.filter((one) => one.startsWith("xmlns:")).map((one) => one.slice(6));
    const used = [name, ...names].filter((one) => one.includes(":") && !one.startsWith("xmlns:")).map((one) => one.split(":")[0]);
    return { bound, used };
  }

  function wellFormed(text) {
    if (BARRED.test(text)) return false;
    const body = text.replace(HEAD, "").replace(/^\ufeff/, "");
    const open = [];
    let roots = 0, at = 0;
    // before and behind the root stands nothing but space
    const plain = (words) => (open.length ? sound(words) : words.trim() === "");
    for (let next = body.indexOf("<"); next >= 0; next = body.indexOf("<", at)) {
      if (!plain(body.slice(at, next))) return false;
      PIECE.lastIndex = next;
      const piece = PIECE.exec(body);
      if (!piece) return false;
      const [whole, data, closing, name, attributes, empty] = piece;
      at = next + whole.length;
      if (data !== undefined && !open.length) return false;
      if (name === undefined) continue;
      if (closing) {
        if (attributes || empty || open.pop()?.name !== name) return false;
        continue;
      }
      const told = prefixes(name, attributes);
      if (!told || !references(attributes) || (!open.length && (roots += 1) > 1)) return false;
      open.push({ name, bound: told.bound });
      if (!told.used.every((one) => one === "xml" || open.some(({ bound }) => bound.includes(one)))) return false;
      if (empty) open.pop();
    }
    return roots === 1 && !open.length && plain(body.slice(at));
  }
  return { wellFormed };
})();
