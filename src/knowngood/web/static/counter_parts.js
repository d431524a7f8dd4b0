// Pieces that the screens of the counter share: fields, lists to tick, packs, the stop card.

import { h, key } from "./dom.js";
import { new_id } from "./outbox.js";

let fields = 0;

// A labelled field. `changed(text)` on every sign. `of`: "input" or "textarea".
export function field(label, value, changed, given = {}) {
  const { of = "input", id = `field-${fields += 1}`, note = "", ...more } = given;
  const input = h(of, { class: "field", id, autocomplete: "off", maxlength: 300, dir: "auto", ...more });
  input.value = value;
  input.addEventListener("input", () => changed(input.value));
  return h("div", { class: "ask" }, h("label", { for: id }, label), input, note && h("p", { class: "soft" }, note));
}

// Keys of which any number may be on; `chosen` is the list of those that are.
export function ticks(names, chosen, changed, words = (name) => name) {
  return h("div", { class: "ticked" }, names.map((name) => {
    const on = chosen.includes(name);
    return key([h("span", { class: "mark", "aria-hidden": "true" }, on ? "✓ " : "□ "), h("span", {}, words(name))],
      () => changed(on ? chosen.filter((one) => one !== name) : [...chosen, name]), { pressed: on });
  }));
}

// Keys of which one is on.
export function one_of(names, chosen, changed, words = (name) => name) {
  return h("div", { class: "ticked" }, names.map((name) => key(
    [h("span", { class: "mark", "aria-hidden": "true" }, name === chosen ? "● " : "○ "), h("span", {}, words(name))],
    () => changed(name), { pressed: name === chosen })));
}

export const new_pack = () => ({ pack: new_id().slice(0, 8), serial: "", words: "", trouble: [] });

// A swollen, hot, leaking, wet or dropped pack: what to do before anything else, as the page brought it.
export const stop_card = () => document.getElementById("stop-card").content.firstElementChild.cloneNode(true);

// Every pack with its serial, and what is wrong with it when something is.
export function packs(list, troubles, unsafe, changed) {
  const put = (pack, more) => changed(list.map((one) => (one.pack === pack.pack ? { ...one, ...more } : one)), "trouble" in more);
  return [
    list.map((pack, at) => h("div", { class: "pack" },
      field(`Serial of pack ${at + 1}`, pack.serial, (serial) => put(pack, { serial }), { id: `pack-${at}` }),
      unsafe && h("fieldset", {}, h("legend", {}, `What is it with pack ${at + 1}?`),
        ticks(troubles, pack.trouble, (trouble) => put(pack, { trouble }))))),
    h("p", {}, key(list.length ? "Another pack" : "A pack came along", () => changed([...list, new_pack()], true), { id: "add-pack" })),
  ];
}
