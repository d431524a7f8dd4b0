// The end of a search: the part to order, what caused it, and the papers.

import { cause_keys } from "./causes.js";
import { h, key, own } from "./dom.js";

const lower = (words) => words.replace(/^[A-Z](?=[a-z])/, (letter) => letter.toLowerCase());

export function proven_card(view, { decide, photo }) {
  const proof = view.proof;
  return h("section", { class: "card good", id: "proven" },
    h("p", { class: "mark" }, "✓ proven"),
    h("h2", { class: "step-words" }, `It is the ${lower(proof.words)}`),
    proof.numbers.length > 0 && h("p", { class: "said" }, "Number ", proof.numbers.join(" and ")),
    proof.wants.map((why) => h("p", { class: "soft" }, `${capital(why)}.`)),
    h("p", {}, own(proof.sentence)),
    h("div", { class: "keys one" }, key(`Decide: ${proof.words} is the part`, decide, { kind: "do", id: "order" }),
      photo && key("Picture of the meter", photo, { id: "photo" })));
}

const capital = (words) => words[0].toUpperCase() + words.slice(1);

// Why a part decided on has no number; once it is known a key takes it.
const no_number = (wants, decide) => wants.map((one) => h("div", { class: "no-number" },
  h("p", { class: "mind" }, `${capital(one.why)}${one.field ? ": note it below, under machine and customer, then take it here" : ""}.`),
  !one.field && key("Take the number", decide)));

export function decided_card(view, { answer, undo, go, sure, ask, decide }) {
  const decision = view.decision;
  const cause = view.causes.open[0];
  return h("section", { class: `card ${decision.proven ? "good" : "loud"}`, id: "decided" },
    h("p", { class: "mark" }, decision.proven ? "✓ proven" : "▲ decided without proof"),
    h("h2", { class: "step-words" }, `${decision.words}: ${decision.ordered ? "ordered" : "to be ordered"}`),
    decision.number && h("p", { class: "said" }, `Number ${decision.number}`),
    no_number(decision.wants, decide),
    decision.read_at && h("p", { class: "soft" }, "Read at: ", own(decision.read_at)),
    decision.also.map((one) => h("p", {}, `And ${one.words}`, one.number && `, number ${one.number}`)),
    h("p", {}, own(decision.sentence)),
    decision.price && h("div", { class: "card loud", id: "price-first" }, h("p", {}, h("b", {}, "▲ Before it is ordered: "), own(decision.price.words), "."),
      h("p", { class: "keys one" }, h("a", { class: "key do", href: decision.price.address }, decision.price.key))),
    h("div", { class: "keys one" },
      h("a", { class: `key ${decision.ordered || decision.price ? "" : "do"}`, href: `/job/${view.id}/shelf${decision.ordered ? "" : "#order"}`, id: "go-shelf" },
        decision.ordered ? "To the shelf" : "Order it: note when it comes")),
    h("div", { class: "inline" },
      h("a", { class: "key", href: `/job/${view.id}/claim.pdf`, id: "claim" }, "The claim as PDF"),
      undo && key("Undo", undo, { id: "undo", label: "Undo the decision" })),
    h("div", { class: "keys two" }, key("Take it apart", () => go("apart"), { id: "go-apart" }), key("Part is here: rebuild", () => go("rebuild"), { id: "go-rebuild" })),
    cause && h("div", { class: "card", id: "cause" },
      h("h3", {}, `Why did it fail? (${view.causes.open.length} to ask)`),
      h("p", { class: "said" }, cause.ask),
      cause.caution && h("p", { class: "mind" }, h("b", {}, "Mind: "), cause.caution),
      cause_keys(cause, { sure, ask, say: (said) => answer(cause, said), ids: ["cause-yes", "cause-no"] })),
    view.causes.answered.length > 0 && h("ul", { class: "rows" }, view.causes.answered.map((one) => h("li", {},
      one.ask, " ", h("b", {}, one.answer), one.mend && h("span", { class: "soft" }, ` ${one.mend}`)))));
}

export function stop_card(view, step) {
  return h("section", { class: "card loud", id: "stop" },
    h("h2", { class: "step-words" }, "No step left that is worth its price"),
    h("p", {}, step ? step.words : "Note what was found, and ask."),
    h("p", {}, view.proof.missing));
}

// A step that was chosen and may not be taken yet.
export const held_card = (step, why, back) => h("section", { class: "card loud", id: "not-now" },
  h("h2", { class: "step-words" }, "Not now: ", step.then || step.question), h("p", {}, own(why)),
  h("div", { class: "keys one" }, key("Another step", back, { id: "not-now-back" })));
