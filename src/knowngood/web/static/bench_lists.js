// What lies below the step: what is known good, what is left, the other steps, the readings.

import { fold, h, key, own } from "./dom.js";
import { large } from "./thumbs.js";

export function strip(view, mode) {
  const good = view.known_good.filter((part) => part.standing !== "good so far").length;
  return h("section", { class: "strip", "aria-label": "Where it stands" },
    h("h1", { class: "quiet" }, `${view.name}: `, own(view.head.machine), view.head.words && [" · ", own(`“${view.head.words}”`)]),
    h("p", { class: mode === "measure" ? "left" : "left whole" }, h("b", {}, mode === "measure" ? view.left_words : view.state), good && mode === "measure" ? ` ${good} known good.` : ""),
    (view.head.notices || []).map((one) => h("p", { class: "mind notice" }, h("b", {}, `▲ Notice ${one.id}: `), own(one.words), one.stop_use && h("b", {}, ". Do not run it."))),
    view.head.stop && h("p", { class: "mind", id: "stopped" }, h("b", {}, "▲ Ask the customer: "), own(view.head.stop), " ", h("a", { href: `/job/${view.id}/papers#estimate` }, "Papers")),
    view.look_at_this.map((one) => h("p", { class: "mind" }, h("b", {}, "Look at this: "), `${one.what}: ${one.why}`)));
}

export function standing(view, { accept, call }) {
  const good = view.known_good.filter((part) => part.standing !== "good so far");
  const unlikely = view.known_good.filter((part) => part.standing === "good so far");
  return [
    h("section", {}, h("h2", {}, "Known good"),
      good.length ? h("ul", { class: "rows" }, good.map((part) => good_row("✓", part))) : h("p", {}, "Nothing yet."),
      unlikely.length > 0 && fold(`Hardly likely any more (${unlikely.length})`,
        h("ul", { class: "rows" }, unlikely.map((part) => good_row("◔", part))), { id: "unlikely" })),
    h("section", {}, h("h2", {}, "Still in question"),
      view.left.map((part) => fold(
        [h("span", { class: "mark" }, part.standing === "bad" ? "✗" : "○"), "\u00a0", h("span", {}, part.words,
          part.called && " (called)", part.standing === "bad" && " (proven bad)")],
        [suspects_of(view, part), h("div", { class: "keys two" },
          key("I call it", () => call(part), { label: `I call it: ${part.words}` }),
          key("Take as good", () => accept(part), { label: `Take as good: ${part.words}` }))],
        { id: `part-${part.id}` })),
      fold("Figures", h("table", { class: "figures" },
        h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "Suspect"), h("th", { scope: "col" }, "Before"), h("th", { scope: "col" }, "Now"))),
        h("tbody", {}, view.suspects.map((one) => h("tr", {}, h("td", {}, one.words), h("td", {}, one.before), h("td", {}, one.belief))))),
      { id: "figures" })),
  ];
}

const good_row = (mark, part) => h("li", {}, h("span", { class: "mark" }, `${mark} `), part.words, ": ",
  h("span", { class: "soft" }, own(part.said), part.by && ` (${part.by})`));

const suspects_of = (view, part) => h("ul", {}, view.suspects.filter((one) => one.parts.includes(part.id))
  .map((one) => h("li", {}, one.words, one.shown_out_by && h("span", { class: "soft" }, `: shown out by ${one.shown_out_by}`))));

// `held(step)`: why it may not be taken with what waits on this phone, "" if it may.
export function others(view, choose, decide, held) {
  const orders = view.others.filter((step) => step.kind === "order");
  const tests = view.others.filter((step) => step.kind === "test");
  const rows = tests.filter((step) => !held(step));
  const held_back = [...tests.filter(held).map((step) => ({ question: step.question, why: held(step) })), ...view.held_back];
  if (!rows.length && !held_back.length) return null;
  return fold(`Other steps (${rows.length})`, [
    h("ul", { class: "rows" }, rows.map((step) => h("li", {},
      key(step.question, () => choose(step.id), { label: `Do this instead: ${step.question}` }),
      h("span", { class: "soft" }, ` ${step.minutes}`, step.costs_more && `, costs ${step.costs_more} more`)))),
    orders.map((step) => h("p", {}, key(step.words, () => decide(step), { kind: "risky" }),
      h("span", { class: "soft" }, " A claim without proof is easily denied."))),
    held_back.length > 0 && h("p", { class: "soft" }, "Held back: ",
      held_back.map((one) => `${one.question} (${one.why})`).join("; ")),
  ], { id: "others" });
}

export function readings(view, { withdraw, again }) {
  if (!view.readings.length) return null;
  const asked = new Set([view.step, ...view.others].map((step) => step?.id)); // of others nothing more is told: taken back, they are asked
  return fold(`Readings (${view.readings.filter((one) => one.live).length})`, h("ul", { class: "rows" },
    view.readings.slice().reverse().map((one) => h("li", {},
      h("p", { class: one.live ? "" : "struck soft" }, `${one.number}. ${one.question} `, h("b", {}, own(one.text)), ` (${one.grade})`),
      h("p", { class: "soft" }, own(one.sentence), ` ${one.at} by `, own(one.by), !one.live && `, taken back: ${one.reason || "no reason given"}`),
      one.live && h("div", { class: "inline" },
        key("Take back", () => withdraw(one), { label: `Take back reading ${one.number}` }),
        asked.has(one.test) && key("Read again", () => again(one.test), { label: `Read again: ${one.question}` }))))), { id: "readings" });
}

// One list before any meter: each line is said fine, not right or not seen; one key says the rest is fine.
const SAYS = { fine: "Fine", bad: "Not right", skip: "Not seen" };
export function look_list(view, marked, { mark, keep, later }) {
  const open = view.looks.filter((one) => !marked[one.id]).length;
  const all = open === view.looks.length ? `All ${open} fine` : open ? `The other ${open} fine` : "Keep these";
  return h("section", { class: "card", id: "looks" },
    h("h2", { class: "step-words" }, "First look: no tool, no meter"),
    view.cautions.slice(0, 1).map((words) => h("p", { class: "mind" }, h("b", {}, "Mind: "), words)),
    h("ul", { class: "looks" }, view.looks.map((one) => h("li", { "data-look": one.id },
      h("p", {}, h("b", {}, one.question), one.good_reads && h("span", { class: "soft" }, ` Good: ${one.good_reads}.`),
        one.caution && h("span", {}, h("b", {}, " Mind: "), one.caution)),
      h("div", { class: "keys three", role: "group", "aria-label": one.question }, Object.entries(SAYS).map(([said, words]) =>
        key([marked[one.id] === said && h("span", { class: "mark", "aria-hidden": "true" }, { fine: "✓ ", bad: "✗ ", skip: "– " }[said]), words],
          () => mark(one.id, said), { pressed: marked[one.id] === said, kind: said, label: `${words}: ${one.question}` })))))),
    h("div", { class: "keys two stay" },
      key(all, keep, { kind: "do", id: "looked" }),
      key("Later", later, { id: "looks-later" })));
}

export function told(view, { told_one, nothing }) {
  const said = view.told.said.map((one) => one.words);
  if (view.told.asked && !said.length) return null;
  return fold(said.length ? `The customer tried: ${said.join("; ")}` : "What did the customer try?", [
    h("div", { class: "keys one" }, view.told.list.map((one) => key(one.words, () => told_one(one)))),
    !view.told.asked && key("Nothing of these", nothing)], { id: "told" });
}

export function pictures(view, waiting, { take, choose, at }) {
  return h("section", {}, h("h2", {}, "Pictures"),
    h("div", { class: "thumbs" }, view.pictures.map((one) => h("button", { type: "button", class: "thumb small",
      onclick: () => large({ key: one.digest, large: `/api/pictures/${one.digest}?longest=1600`, words: one.caption || one.about || "picture" }, one.about, at) },
    h("img", { src: `/api/pictures/${one.digest}?longest=320`, alt: one.caption || one.about || "picture", loading: "lazy", width: 84, height: 84 })))),
    waiting > 0 && h("p", {}, h("span", { class: "mark" }, `● ${waiting} on this phone, not sent yet`)),
    h("div", { class: "keys two" },
      key("Take a picture", take, { id: "camera" }), key("From the phone", choose)));
}

// A part that must be left alone, and what to do with it.
export const hazard_card = (one) => h("section", { class: "card loud", role: "alert", "data-part": one.part },
  h("h2", { class: "step-words" }, `▲ ${one.title}`),
  h("p", { class: "said" }, one.why),
  h("ul", {}, one.to_do.map((line) => h("li", {}, line))));

// The job's own machine file says something else by now: a person takes it over, or stays.
export const file_card = ({ words, can }, answer) => h("section", { class: "card mind", id: "file" },
  h("p", {}, words),
  can && h("div", { class: "keys two" },
    key("Go on with it as it is now", () => answer(true), { id: "newer" }),
    key("Stay with it as it was", () => answer(false), { id: "stay" })));
