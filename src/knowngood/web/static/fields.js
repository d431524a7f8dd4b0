// Fields whose text stays while the screen is drawn anew, and counts with a key on each side.

import { h, key } from "./dom.js";

// `draft` keeps what is typed by name. Enter gives it to `enter`, if there is one.
export function field(draft, name, label, given = {}) {
  const many = given.rows > 1;
  const input = h(many ? "textarea" : "input", { class: "field", id: `f-${name}`, maxlength: given.most || 300,
    rows: many ? given.rows : null, autocomplete: "off", inputmode: given.mode, type: many ? null : "text",
    placeholder: given.hint });
  input.value = draft[name] || "";
  input.addEventListener("input", () => { draft[name] = input.value; given.typed?.(); });
  if (given.enter) {
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter" && !many) { event.preventDefault(); given.enter(); }
    });
  }
  return h("p", { class: "asked" }, h("label", { for: `f-${name}` }, label), input);
}

export const text_of = (draft, name) => (draft[name] || "").trim();
export const lines_of = (draft, name) => text_of(draft, name).split("\n").map((one) => one.trim()).filter(Boolean);

// A whole number with minus and plus; `set(n)` is called with the new one.
export function stepper(id, words, count, set, least = 0) {
  return h("div", { class: "stepper", role: "group", "aria-label": words },
    h("span", {}, words),
    key("−", () => set(Math.max(least, count - 1)), { label: `one less: ${words}`, id: `${id}-less` }),
    h("output", { id, "aria-live": "polite" }, String(count)),
    key("+", () => set(count + 1), { label: `one more: ${words}`, id: `${id}-more` }));
}

// Keys of which one is chosen.
export const choice = (words, options, chosen, choose) =>
  h("div", { class: "keys three", role: "group", "aria-label": words },
    options.map((one) => key(one, () => choose(one === chosen ? "" : one), { pressed: one === chosen })));

// The first few of many, in a line.
export const few = (words, most = 3) =>
  words.slice(0, most).join("; ") + (words.length > most ? ` and ${words.length - most} more` : "");
