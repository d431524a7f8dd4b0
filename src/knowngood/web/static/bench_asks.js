// What the bench asks in between: which meter, which part is called, a note in own words.

import { fold, h, key } from "./dom.js";

function ask(title, words, keys) {
  const dialog = h("dialog", { "aria-label": title });
  const close = () => dialog.close();
  dialog.append(h("h2", {}, title), ...(words ? [h("p", { class: "soft" }, words)] : []), h("div", { class: "keys one" }, keys(close), key("Close", close)));
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

export const choose_meter = (view, do_it) => ask("Which meter?", "", (close) => view.meters.map((name) => key(name, () => {
  localStorage.setItem("meter", name);
  close();
  do_it("MeterChosen", { name });
}, { pressed: name === view.meter?.name })));

export const call_it = (view, do_it) => ask("I call it: which part?", "Only its proof and its causes are asked then.",
  (close) => view.callable.map((part) => key(part.words, () => { close(); do_it("PartCalled", { part: part.id }); })));

export const note_form = (do_it) => fold("Note", h("form", { onsubmit: (event) => {
  event.preventDefault();
  const field = event.target.elements[0];
  const text = field.value.trim();
  if (text) { field.value = ""; do_it("NoteAdded", { text }); }
} }, h("label", { for: "note" }, "In your own words"), h("textarea", { class: "field", id: "note", rows: 2, maxlength: 4000 }),
h("button", { class: "key" }, "Keep the note")), { id: "note-fold" });
