// The next step: where the probes go, in which state, what to mind, what to expect.

import { h, key, own } from "./dom.js";

const lead = (colour, letter, where, number) => where && h("p", { class: "point" },
  h("span", { class: `lead ${colour}`, "aria-hidden": "true" }, letter),
  h("span", {}, `${colour === "red" ? "Red" : "Black"} on ${where}`, number !== undefined && h("small", {}, ` (point ${number})`)));

const fact = (name, words) => (words && words.length
  ? [h("dt", {}, name), h("dd", {}, Array.isArray(words) ? words.join("; then ") : words)] : []);

export function step_card(step, { provisional, chosen, back, yes_to_live, numbers = [] }) {
  return h("section", { class: "card", id: "step", "aria-label": "Next step" },
    provisional && h("p", { class: "mark" }, "◌ provisional: from the plan on this phone"),
    h("h2", { class: "step-words" }, step.words),
    step.energised && h("p", { class: "mark" }, "⚡ live: a source is connected"),
    h("div", { class: "points" }, lead("red", "R", step.red, numbers[0]), lead("black", "B", step.black, numbers[1])),
    h("dl", { class: "facts" },
      fact("Off first", step.opens), fact("Put back first", step.closes),
      fact("State", step.condition), fact("Hold", step.held.length ? step.held.join(", ") : ""),
      fact("Expect", [step.expect, step.minutes && `takes ${step.minutes}`].filter(Boolean).join("; ")),
      chosen ? fact("Costs more", step.costs_more) : []),
    step.cautions.map((words) => h("p", { class: "mind" }, h("b", {}, "Mind: "), words)),
    chosen && h("div", { class: "inline" }, key("Back to the cheapest step", back)),
    yes_to_live && h("p", {}, key("Yes: live work with the shell open, as the caution says", yes_to_live, { kind: "do", id: "live" })));
}

// Under the keypad: figures and a picture of this step.
export const step_more = ({ why, photo, words, wiring }) => h("div", { class: "more" },
  h("div", { class: "keys two" }, key(words, photo, { id: "photo" }), why && key("Why this step", why, { id: "why" }),
    wiring && key("Picture of the wiring", wiring, { id: "wiring" })),
  h("div", { id: "why-here" }));

export function why_list(outcomes) {
  return h("div", { class: "card" }, h("h3", {}, "What each outcome would leave"),
    h("ul", { class: "rows" }, outcomes.map((one) => h("li", {},
      h("b", {}, one.words), ` (${one.chance}): `,
      one.left.map((left) => `${left.words} ${left.belief}`).join(", ") || "nothing more"))));
}

// What the last reading proved, and the way back.
export function said_card(reading, { pending, undo, undo_words }) {
  const back = undo && key("Undo", undo, { id: "undo", label: `Undo: ${undo_words}` });
  if (pending) {
    return h("section", { class: "card said-card", id: "said" },
      h("p", { class: "said" }, h("span", { class: "mark" }, "● kept on this phone: "), own(pending)), back);
  }
  if (!reading) {
    return back && h("section", { class: "card said-card", id: "said" }, h("p", {}, "Last: ", own(undo_words)), back);
  }
  const odd = Boolean(reading.slip) || !reading.fits;
  const mark = odd ? "▲ fits no suspect: " : { good: "✓ ", bad: "✗ ", "can't tell": "? " }[reading.verdict] || "· ";
  const paper = odd ? "loud" : reading.verdict === "good" ? "good" : "";
  return h("section", { class: `card said-card ${paper}`, id: "said" },
    h("div", {}, h("p", { class: "said", role: "status" }, h("span", { class: "mark" }, mark), own(reading.sentence)),
      odd && h("p", {}, reading.slip ? `Likeliest slip: ${reading.slip}. Read it once more, or leave it: it counts for little.`
        : "Nothing on the list explains this well. Read it once more, or note what was seen.")),
    back);
}
