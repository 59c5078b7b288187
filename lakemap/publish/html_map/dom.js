// Elements by hand: text is always text, never markup.
const Dom = (() => {
  const by = (id) => document.getElementById(id);

  function make(tag, attributes = {}, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name === "text") element.textContent = value;
      else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else if (value !== false && value !== null) element.setAttribute(name, value === true ? "" : value);
    }
    element.append(...children.filter((child) => child !== null));
    return element;
  }

  const fill = (element, ...children) => element.replaceChildren(...children.filter((child) => child !== null));

  function svg(tag, attributes, ...children) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.append(...children);
    return element;
  }
  return { by, make, fill, svg };
})();
