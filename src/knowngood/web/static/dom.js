// Elements from plain values. All text goes in as text, never as markup.

export function h(name, given = {}, ...inside) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "class") element.className = value;
    else element.setAttribute(key, value === true ? "" : String(value));
  }
  put(element, inside);
  return element;
}

function put(element, inside) {
  for (const one of inside.flat(9)) {
    if (one === null || one === undefined || one === false || one === "") continue;
    element.append(one instanceof Node ? one : document.createTextNode(String(one)));
  }
}

// What people wrote themselves: its direction of writing does not touch what stands around it.
export const own = (text) => h("bdi", {}, text);

export const key = (words, tap, given = {}) =>
  h("button", { type: "button", class: `key ${given.kind || ""}`.trim(), onclick: tap,
    "aria-label": given.label, id: given.id, disabled: given.disabled,
    "aria-pressed": given.pressed === undefined ? undefined : String(given.pressed) }, words);

export const fold = (summary, inside, given = {}) =>
  h("details", { class: given.class, open: given.open, id: given.id },
    h("summary", {}, summary), inside);

// The text of an element is set only when it changed, so that nothing flickers or is read twice.
export function say(element, text) {
  if (element && element.textContent !== text) element.textContent = text;
}
