// Parts of a screen that are drawn anew only when what they show has changed.

import { h } from "./dom.js";

// Slots by name in the order they stand; returns {at, fill}: folds that were open stay open, and
// the focus stays where it was.
export function make_slots(names) {
  const at = Object.fromEntries(names.map((name) => [name, h("div", { id: `slot-${name}` })]));
  const shown = {};
  function fill(name, data, make) {
    const text = JSON.stringify(data);
    if (shown[name] === text) return;
    shown[name] = text;
    const open = new Set([...at[name].querySelectorAll("details[open]")].map((one) => one.id));
    const active = document.activeElement;
    const focused = at[name].contains(active) ? active.id : "";
    const caret = focused && "selectionStart" in active ? active.selectionStart : null;
    at[name].replaceChildren(...[make()].flat(9).filter((one) => one instanceof Node));
    for (const one of at[name].querySelectorAll("details")) if (open.has(one.id)) one.open = true;
    const again = focused && document.getElementById(focused);
    if (!again) return;
    again.focus({ preventScroll: true });
    if (caret !== null) again.setSelectionRange?.(caret, caret);
  }
  return { at, fill };
}
