// Pictures of one step: those on the shop's computer and those still on this phone; a tap shows
// one large, to be looked at, marked with a pen or taken back.

import { h, key } from "./dom.js";
import { pen } from "./pen.js";

const local = new Map(); // number of the entry -> address of its picture

function address_of(one) {
  if (!local.has(one.n)) local.set(one.n, URL.createObjectURL(new Blob([one.picture], { type: one.type || "image/jpeg" })));
  return local.get(one.n);
}

// Everything there is about a step, the latest last. `here`: it has not left this phone yet.
export function pictures_of(about, view, waiting) {
  const kept = view.pictures.filter((one) => one.about === about).map((one) => ({
    key: one.digest, small: `/api/pictures/${one.digest}?longest=320`, large: `/api/pictures/${one.digest}?longest=1600`,
    words: one.caption || one.about, here: false }));
  const held = waiting.filter((one) => one.kind === "PictureAdded" && one.picture && one.body.about === about)
    .map((one) => ({ key: `n${one.n}`, small: address_of(one), large: address_of(one), words: one.body.caption || about, here: true }));
  return [...kept, ...held];
}

// `earlier`: pictures of the machine's file, as it looked on an earlier one.
export function thumbs(about, { view, waiting, keep_marked, act }, earlier = []) {
  const found = [...pictures_of(about, view, waiting), ...earlier.map((digest) => ({ key: digest,
    small: `/api/pictures/${digest}?longest=320`, large: `/api/pictures/${digest}?longest=1600`, words: "from an earlier job", here: false, earlier: true }))];
  if (!found.length) return null;
  return h("div", { class: "thumbs big" }, found.map((one, n) => h("button", { type: "button", class: "thumb",
    onclick: () => large(one, about, { keep_marked, act }), "aria-label": `Picture ${n + 1} of ${found.length}: ${one.words}` },
  h("img", { src: one.small, alt: "", loading: "lazy" }), one.here && h("span", { class: "mark" }, "●"))));
}

export function large(one, about, { keep_marked, act }) {
  const dialog = h("dialog", { class: "broad", "aria-label": `Picture: ${one.words}` });
  const image = h("img", { src: one.large, alt: one.words, class: "large" });
  const keys = h("div", { class: "keys two" },
    key("Mark on it", () => pen(dialog, image, (picture) => keep_marked(about, one.words, picture))),
    !one.here && !one.earlier && key("Take this picture back", () => { act("PictureWithdrawn", { digest: one.key, reason: "taken back" }); dialog.close(); }, { id: "no-picture" }),
    key("Close", () => dialog.close(), { kind: "do" }));
  dialog.append(h("p", {}, one.words), image, keys);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
