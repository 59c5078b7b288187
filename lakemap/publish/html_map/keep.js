// What the browser remembers; a page opened from a file may have no storage, or one that throws when touched.
const Keep = (() => {
  function get(key) {
    try { return window.localStorage.getItem(`lakemap.${key}`); } catch { return null; }
  }
  function set(key, text) {
    try { window.localStorage.setItem(`lakemap.${key}`, text); return true; } catch { return false; }
  }
  return { get, set };
})();
