// Pickup: what holds it, what is paid, what goes back, and who took it.

import { fold, h, key, own } from "./dom.js";
import { at_counter, list_of, overrides, papers } from "./at_counter.js";
import { field, one_of, stop_card, ticks } from "./counter_parts.js";
import { notices_of } from "./cover_card.js";
import { signature } from "./sign.js";

const OUTCOMES = ["repaired", "returned unrepaired", "no fault found"];
let things = null;
let packs = null;
let to = "";
let outcome = "";
let by = localStorage.getItem("by") || "";
let reason = "";
let amount = "";
let sign = null;

const MARK = { pass: "✓ pass", fail: "✗ failed", blank: "□ not checked", "not applicable": "– not applicable" };

const checks = (view) => (view.checks.length
  ? fold(`Release checks: ${view.checks.filter((one) => one.result === "pass").length} of ${view.checks.length} passed`,
    h("ul", { class: "rows" }, view.checks.map((one) => h("li", {}, h("span", { class: "mark" }, `${MARK[one.result]} `), one.words))),
    { id: "checks" })
  : h("p", {}, "No release checks are listed for this machine."));

function held_words(view) {
  const failed = view.holds.filter((why) => why.endsWith(": failed")).length;
  const blank = view.holds.filter((why) => why.includes(": not checked")).length;
  return [failed && `${failed} failed`, blank && `${blank} safety check${blank === 1 ? "" : "s"} not made`].filter(Boolean).join(", ")
    || view.holds.join("; ");
}

const held = (view, send, show) => h("section", { class: "card loud", id: "held" },
  h("h2", {}, "▲ Held: it may not leave"),
  h("p", {}, held_words(view)),
  list_of(view.holds.filter((why) => why.endsWith(": failed")), "held-failed"),
  list_of(view.holds.filter((why) => !why.endsWith(": failed")), "held-blank"),
  h("p", {}, h("a", { class: "key", href: `/job/${view.id}/bench` }, "Check it at the bench")),
  fold("Let it go all the same", [
    h("p", {}, "Who takes it on, and why? Both print on the papers."),
    field("Name", by, (text) => { by = text; }, { id: "by" }),
    field("Reason", reason, (text) => { reason = text; }, { id: "reason", maxlength: 1000 }),
    key("Override the hold", () => {
      if (!by.trim() || !reason.trim()) { document.getElementById(by.trim() ? "reason" : "by").focus(); return; }
      send("HoldOverridden", { by, reason });
      reason = "";
      show();
    }, { id: "override" })], { id: "override-fold" }));

async function hand_back(view, send) {
  const drawn = sign?.drawn();
  if (!to.trim() && !drawn) { document.getElementById("to").focus(); return; }
  const body = { to: to.trim(), accessories: things ?? [], packs: packs ?? [], outcome };
  if (drawn) await send("HandedBack", body, { picture: await sign.picture(), type: "image/png", name: "signature" });
  else await send("HandedBack", body);
  scrollTo({ top: 0 }); // where it is said that it was kept, and then that it was handed back
}

function out(view, send, show) {
  const closed = view.closed !== null;
  things ??= [];
  packs ??= [];
  sign ??= signature();
  const left = [...view.accessories.filter((one) => !things.includes(one)),
    ...view.packs.filter((one) => !packs.includes(one.pack)).map((one) => one.said)];
  return [
    h("section", { class: "card", "aria-label": "Paid" }, h("h2", {}, view.paid ? `Paid? ${view.paid.paid}` : "Paid?"),
      view.left && h("p", { class: "said", id: "owed" }, `Left to pay: ${view.left}`),
      view.price_open && h("p", { class: "mind" }, own(`▲ ${view.price_open}. `), h("a", { class: "key", href: `/job/${view.id}/papers#estimate` }, "Estimate and payment")),
      field(view.left ? `Amount and way (empty: all of ${view.left})` : "Amount and way (may stay empty)", amount, (text) => { amount = text; }, { id: "amount" }),
      one_of(["paid", "not paid", "nothing to pay"], view.paid?.paid, (paid) => send("PaymentNoted", { paid, words: amount })),
      view.paid && h("p", {}, key(`Undo: ${view.paid.paid}`, () => send("PaymentWithdrawn", { reason: "undone at the counter" }), { id: "undo-paid" }))),
    h("section", { class: "card", "aria-label": "What goes back" }, h("h2", {}, "Tick what goes back"),
      view.packs.length > 0 && ticks(view.packs.map((one) => one.pack), packs, (now) => { packs = now; show(); }, (id) => view.packs.find((one) => one.pack === id).said),
      view.accessories.length > 0 && ticks(view.accessories, things, (now) => { things = now; show(); }),
      !view.packs.length && !view.accessories.length && h("p", {}, "Nothing but the machine came in."),
      left.length > 0 && h("p", { class: "mind", id: "left" }, h("b", {}, "Stays here: "), own(left.join("; ")))),
    !closed && h("section", { class: "card", "aria-label": "How it ends" }, h("h2", {}, "How does it leave?"),
      one_of(OUTCOMES, outcome, (now) => { outcome = now; show(); })),
    h("section", { class: "card", "aria-label": "Who takes it" }, h("h2", {}, "Who takes it?"),
      field("Name", to, (text) => { to = text; }, { id: "to" }),
      h("p", { class: "soft" }, "Or a signature:"), sign.element),
    h("div", { class: "bottom" }, key("Hand it back", () => hand_back(view, send), { kind: "do", id: "hand-back" })),
  ];
}

const gone = (view, send) => [
  h("section", { class: "card good", id: "handed", role: "status" }, h("p", { class: "mark" }, "✓ handed back"),
    h("p", { class: "said" }, own(`on ${view.handed.at} to ${view.handed.to || "the customer, who signed"}`)),
    view.handed.signature && h("img", { class: "signed", src: `/api/pictures/${view.handed.signature}?longest=800`, alt: "The signature" }),
    view.paid && h("p", {}, own(`${view.paid.paid} ${view.paid.words}`)),
    view.handed.stays.length > 0 && h("p", { class: "mind" }, h("b", {}, "Stays here: "), own(view.handed.stays.join("; ")))),
  papers(view),
  key("It was not handed back", () => send("HandBackWithdrawn", { reason: "taken back at the counter" }), { id: "not-handed" }),
];

at_counter((view, send, show) => [
  h("h1", {}, h("span", { class: "number" }, view.name), " ", own([`${view.maker} ${view.model}`.trim() || view.named, view.customer].filter(Boolean).join(", "))),
  view.comeback && h("p", { class: "mind" }, h("b", {}, "Was here before: "), own(`${view.comeback.number}, ${view.comeback.words} `),
    h("a", { class: "key", href: `/job/${view.comeback.job}/sheet` }, "The older job")),
  view.unsafe && stop_card(),
  !view.handed && notices_of(view.notices),
  view.off.length > 0 && !view.handed && h("p", { class: "card loud" }, h("b", {}, "▲ NOT COMPLETE: "), view.off.join("; ")),
  overrides(view),
  checks(view),
  view.handed ? gone(view, send) : view.holds.length ? held(view, send, show) : out(view, send, show),
]);
