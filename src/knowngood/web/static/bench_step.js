// The next step: where the probes go, in which state, what to mind, what to expect.

import { fold, h, key, own } from "./dom.js";

const lead = (colour, letter, where, number) => where && h("p", { class: "point" },
  h("span", { class: `lead ${colour}`, "aria-hidden": "true" }, letter),
  h("span", {}, `${colour === "red" ? "Red" : "Black"} on ${where}`, number !== undefined && h("small", {}, ` (point ${number})`)));

const fact = (name, words) => (words && words.length
  ? [h("dt", {}, name), h("dd", {}, words)] : []);

// Cautions: whole when they are short, else in short, the whole one tap below.
const ROOM = 72;
export function mind(cautions, short, open = false) {
  if (!cautions.length) return null;
  const whole = cautions.map((words) => h("p", {}, words));
  if (cautions.join(" ").length <= ROOM) return h("p", { class: "mind" }, h("b", {}, "Mind: "), cautions.join(" "));
  return h("details", { class: "mind", id: open ? "mind-first" : "mind", open }, h("summary", {}, h("span", {}, h("b", {}, "Mind: "), h("b", {}, short))), whole);
}

// What has to be off or back first, in sight above the keypad; what holds the energy by its name.
function first_of(step) {
  const count = step.opens.length + step.closes.length;
  if (!count) return null;
  const named = step.out_first?.length ? step.out_first : [step.opens[0] || step.closes[0]];
  const more = count - named.length;
  return h("p", { class: step.energised ? "first live-way" : "first", id: "first" }, h("b", {}, `First: ${named.join(", ")}`), more > 0 && h("span", {}, `and ${more} more`));
}

// What comes off and goes back before it, with what to mind meanwhile; a long way is folded.
const MANY = 2;
function way(step) {
  const off = step.opens.map((words, at) => h("li", {}, words, step.minding?.[at] && h("span", { class: "soft" }, ` (${step.minding[at]})`)));
  const all = [...off, ...step.closes.map((words) => h("li", {}, words))];
  if (!all.length) return null;
  const first = step.opens[0] || step.closes[0];
  if (all.length === 1 && !step.minding?.[0]) return null;
  if (all.length === 1) return [h("dt", {}, "First"), h("dd", {}, first, step.minding?.[0] && h("span", { class: "soft" }, ` (${step.minding[0]})`))];
  return [h("dt", {}, "First"), h("dd", {}, all.length > MANY
    ? fold(`${first}, and ${all.length - 1} more`, h("ol", {}, all), { id: "way" }) : h("ol", {}, all))];
}

// Where the leads go; of several pairs the first, the others one tap below.
function points(step, numbers) {
  const [red, black] = step.pairs?.[0] || [step.red, step.black];
  const more = step.pairs?.slice(1) || [];
  return [h("div", { class: "points" }, lead("red", "R", red, numbers[0]), lead("black", "B", black, numbers[1])),
    more.length > 0 && fold(more.length > 1 ? `Then ${more.length} more pairs` : "Then one more pair",
      h("ol", { start: 2 }, more.map(([r, b]) => h("li", {}, `Red on ${r}, black on ${b}`))), { id: "pairs" })];
}

const LONG = [80, 110]; // letters
export function step_card(step, { provisional, chosen, back, yes_to_live, numbers = [] }) {
  return h("section", { class: "card", id: "step", "aria-label": "Next step" },
    provisional && h("p", { class: "mark" }, "◌ provisional: from the plan on this phone"),
    h("h2", { class: `step-words ${step.kind === "volts" ? "over-110 " : ""}${LONG.filter((most) => step.words.length > most).map((most) => `over-${most}`).join(" ")}`.trim() }, step.energised && h("span", { class: "live" }, "⚡ live: "), step.words),
    step.said && h("p", { class: "charged", id: "charged", role: "alert" }, "▲ ", own(step.said), ": bleed it, then measure again."),
    !step.energised && first_of(step),
    mind(step.cautions, step.mind, Boolean(yes_to_live)),
    points(step, numbers),
    step.energised && first_of(step),
    h("dl", { class: "facts" },
      fact("Expect", [step.expect, step.minutes && `takes ${step.minutes}`].filter(Boolean).join("; ")),
      step.then && fact("Then", step.then), way(step), fact("State", step.condition), fact("Hold", step.held.join(", ")),
      chosen ? fact("Costs more", step.costs_more) : []),
    chosen && h("div", { class: "inline" }, key("Back to the cheapest step", back)),
    yes_to_live && h("p", {}, key("Yes: live work, as the caution says", yes_to_live, { kind: "do", id: "live" })));
}

// Under the keypad: figures and a picture of this step.
export const step_more = ({ why, photo, words, wiring, known, unseen }) => h("div", { class: "more" },
  h("div", { class: "keys two" }, key(words, photo, { id: "photo" }), why && key("Why this step", why, { id: "why" }),
    wiring && key("Picture of the wiring", wiring, { id: "wiring" }),
    known && h("a", { class: "key", href: known, id: "known" }, "Known good readings here"),
    unseen?.length > 0 && h("a", { class: "key", href: unseen[0].page, id: "unseen" }, `Not seen yet: ${unseen[0].words}${unseen.length > 1 ? `, and ${unseen.length - 1} more` : ""}`)),
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
    h("div", {}, h("p", { class: "said", role: "status" }, h("span", { class: "mark" }, mark), own(reading.short || reading.sentence)),
      odd && h("p", {}, reading.slip ? `Likeliest slip: ${reading.slip}${reading.slip.endsWith("?") ? "" : "."} ${/once more|try again/.test(reading.slip) ? "Or" : "Read it once more, or"} leave it: it counts for little.`
        : "Nothing on the list explains this well. Read it once more, or note what was seen.")),
    back);
}
