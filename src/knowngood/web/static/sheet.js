// The counter sheet of a job: what came in, to be read and mended.

import { fold, h, key, own } from "./dom.js";
import { at_counter, overrides, papers } from "./at_counter.js";
import { field, new_pack, stop_card, ticks } from "./counter_parts.js";
import { cover_card, cover_of } from "./cover_card.js";
import { take_picture } from "./camera.js";

const TROUBLES = ["swollen", "hot", "leaking", "wet", "dropped"];
let choices = null;
let draft = {};
let pack = new_pack();
let chosen = "";
let waits = false;
let cover = null;
let cover_seq = -1;

async function ask_cover(view, show) {
  if (cover_seq === view.seq) return;
  cover_seq = view.seq;
  cover = await cover_of(view.id).catch(() => cover);
  if (cover) show();
}

const row = (name, words) => words && words.length > 0 && [h("dt", {}, name), h("dd", {}, own(Array.isArray(words) ? words.join("; ") : words))];

async function machines(show) {
  if (choices || waits) return;
  waits = true;
  try {
    choices = await (await fetch("/api/counter")).json();
    show();
  } catch { waits = false; }
}

function which_machine(view, send, show) {
  machines(show);
  const it = choices?.machines.find((one) => one.id === chosen);
  const describe = h("p", { class: "keys one" }, h("a", { class: "key", id: "describe", href: view.machine && !view.bare ? `/library/new/${view.machine.id}?job=${view.id}` : `/library/new?job=${view.id}` },
    view.machine && !view.bare ? "It is like this one, but not the same: describe it" : "It is like one of these kinds of machine"));
  return fold(view.machine ? `Another machine file or complaint (now ${view.machine.words})` : "Which machine file fits?", [
    !choices && h("p", {}, "The list is on the shop's computer, which is not reached now."),
    choices && !it && h("div", { class: "keys one" }, choices.machines.map((one) => key(one.words, () => { chosen = one.id; show(); }))),
    it && [h("p", {}, `${it.words}: which complaint comes closest?`), h("div", { class: "keys one" },
      it.complaints.map((one) => key(one.words, () => { chosen = ""; send("MachineNamed", { machine: it.id, complaint: one.id }); })),
      key("None of these", () => { chosen = ""; send("MachineNamed", { machine: it.id, complaint: "" }); }),
      key("Back to the machines", () => { chosen = ""; show(); }))],
    !it && describe,
  ], { id: "machine", open: !view.machine });
}

const later = (view, send) => fold("Note what was missing or wrong", [
  ["customer", "contact", "maker", "model", "serial"].map((name) => field(
    { contact: "Phone or mail", serial: "Serial", customer: "Customer", maker: "Maker", model: "Model" }[name],
    draft[name] ?? view[name], (text) => { draft = { ...draft, [name]: text }; }, { id: `note-${name}` })),
  field("Came along (a comma between)", draft.things ?? view.accessories.join(", "), (things) => { draft = { ...draft, things }; }, { id: "note-things" }),
  key("Keep it", () => {
    const { things, ...said } = draft;
    const changed = Object.fromEntries(Object.entries(said).filter(([name, text]) => text.trim() && text !== view[name]));
    draft = {};
    send("CounterNoted", { ...changed, ...(things === undefined ? {} : { accessories: things.split(",").map((one) => one.trim()).filter(Boolean) }) });
  }, { kind: "do", id: "keep-note" })], { id: "later" });

const more_packs = (view, send, show) => fold("Another pack, or one that is unsafe", [
  view.packs.map((one) => h("p", { class: "inline" }, key(one.said, () => { pack = { ...one }; show(); }, { label: `Say it better: ${one.said}` }),
    key("Not a pack", () => send("PackWithdrawn", { pack: one.pack }), { label: `No such pack: ${one.said}` }))),
  field("Serial of the pack", pack.serial, (serial) => { pack = { ...pack, serial }; }, { id: "pack-serial" }),
  h("fieldset", {}, h("legend", {}, "Is it swollen, hot, leaking, wet, or was it dropped?"),
    ticks(TROUBLES, pack.trouble, (trouble) => { pack = { ...pack, trouble }; show(); })),
  key("Keep the pack", () => { const { said, ...it } = pack; pack = new_pack(); send("PackTaken", it); }, { kind: "do", id: "keep-pack" }),
], { id: "packs" });

at_counter((view, send, show) => (ask_cover(view, show), [
  h("h1", {}, h("span", { class: "number" }, view.name), " ", own([`${view.maker} ${view.model}`.trim() || view.named, view.customer].filter(Boolean).join(", "))),
  h("p", { class: "soft" }, view.state),
  view.unsafe && stop_card(),
  view.off.length > 0 && h("p", { class: "card loud" }, h("b", {}, "▲ NOT COMPLETE: "), view.off.join("; ")),
  overrides(view),
  view.handed && h("p", { class: "card good" }, h("b", {}, "✓ handed back "), own(`on ${view.handed.at} to ${view.handed.to || "the customer, who signed"}`),
    view.handed.stays.length > 0 && own(`. Stays here: ${view.handed.stays.join("; ")}`)),
  view.comeback && h("p", { class: "card mind" }, h("b", {}, "Was here before: "), own(`${view.comeback.number}, ${view.comeback.words} `),
    h("a", { class: "key", href: `/job/${view.comeback.job}/sheet`, id: "comeback" }, "The older job"), " ",
    key("Another machine", () => send("ComebackWithdrawn", {}))),
  view.too_early && h("p", { class: "mind", id: "too-early" }, h("b", {}, "▲ "), own(view.too_early)),
  h("dl", { class: "facts card" }, row("Words", view.words), row("Complaint", view.complaints), row("When", view.conditions),
    row("Tried", view.told), row("Machine", view.machine ? view.machine.words : view.named), row("Serial", view.serial || "not noted"),
    row("Contact", view.contact), row("Came along", view.accessories), row("Packs", view.packs.map((one) => one.said)),
    row("Promised", view.promised), row("Fee", view.fee), row("Storage", view.storage), row("Paid", view.paid && [view.paid.paid, view.paid.words].filter(Boolean).join(", "))),
  h("div", { class: "keys one" }, h("a", { class: "key do", href: `/job/${view.id}/pickup`, id: "to-pickup" }, view.handed ? "What was handed back" : "The customer fetches it")),
  cover && cover_card(cover, view.seq, show),
  papers(view),
  which_machine(view, send, show),
  more_packs(view, send, show),
  later(view, send),
  h("div", { class: "thumbs" }, view.plate.map((digest) => h("img", { src: `/api/pictures/${digest}?longest=320`, alt: "The plate", width: 84, height: 84 }))),
  key("Picture of the plate", () => take_picture({ job: view.id, about: "plate", caption: "The plate", based_on: view.seq, done: show }), { id: "plate" }),
]));
