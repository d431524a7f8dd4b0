// The keypad made for meter readings. Gloves: three columns, keys of 115 by 76 and more.

import { h, key } from "./dom.js";

const DIGITS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0"];
const QUICK = 56; // height of the row with the units, in px, and what is between rows
const GAP = 8;
const NAMES = { ".": "point", "−": "minus" };

// `take(text)` is called with the reading as text. Returns {line, pad, fit}: the line with the field
// (or yes and no) and the digits stay in sight; what is pressed seldom comes below them. Units and
// the answers without a figure stand above the field: always where `fit(room_for(...))` finds
// room, else while something is typed, so that no key moves under the thumb.
export function keypad(step, typed, { take, changed }) {
  const units = step.keys.units;
  const asks = step.keys.answers.length > 0;
  const field = h("input", { class: "field", id: "reading", autocomplete: "off", maxlength: 200,
    "aria-label": `Reading: ${step.question}`, inputmode: "none", enterkeyhint: "done",
    placeholder: asks ? "yes or no" : units[0]?.sign || "" });
  field.value = typed;
  const put = (text) => { field.value = text; changed(text); quick_or_not(); };
  const go = () => { if (field.value.trim()) take(field.value.trim()); else field.focus(); };
  field.addEventListener("input", () => { changed(field.value); quick_or_not(); });
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { event.preventDefault(); go(); }
  });
  const erase = key("⌫", () => put(field.value.trimEnd().slice(0, -1)), { label: "erase the last sign", id: "erase" });
  const typing = [field, !asks && erase, key("Take it", go, { kind: "do", id: "take" })];
  const line = h("div", { class: "read" }, asks ? [] : typing);
  const digits = h("div", { class: "digits" });
  const rest = h("div", { class: "rest" });
  const quick = h("div", { class: "quick", id: "quick" });
  const twins = []; // keys that stand in both places, here while the quick row is not shown
  let room = asks;
  let shown = null; // whether the quick row is
  let below = [];
  const quick_or_not = () => {
    const on = room || Boolean(field.value.trim());
    if (on === shown) return;
    shown = on;
    if (on) line.prepend(quick);
    else quick.remove();
    rest.replaceChildren(...below.filter((one) => !on || !twins.includes(one)));
  };
  const both = (sign, tap, given = {}) => {
    add(quick, sign, tap, given);
    add(rest, sign, tap, given);
    twins.push(rest.lastChild);
  };
  const words_at_once = (words, text, kind) => both(words, () => take(text), { disabled: text === null, kind });
  const pad = h("div", { class: "pad", id: "pad", role: "group", "aria-label": "Keypad" }, asks ? [] : digits, rest);
  const add = (to, sign, tap, given = {}) => to.append(key(sign, tap, { label: NAMES[sign], ...given }));
  const at_once = (to, words, text, kind) => add(to, words, () => take(text), { disabled: text === null, kind });
  const jumps = (to) => add(to, "jumps", () => put(`${field.value} jumps`.trim()), { label: "the reading jumps" });

  if (asks) {
    for (const answer of step.keys.answers) {
      const good = answer === step.good;
      line.append(key(h("span", {}, h("b", {}, answer === "yes" ? "Yes" : "No"), good && h("br"),
        good && h("small", {}, "as it should")), () => take(answer), { kind: good ? "do answer good-answer" : "do answer" }));
    }
  } else {
    for (const sign of DIGITS) add(digits, sign, () => put(with_digit(field.value, sign, units)), { kind: "digit" });
    if (step.keys.over) at_once(digits, "OL", "OL"); // two taps would be more than a walk may have
    else jumps(digits);
    for (const unit of units) both(unit.sign, () => put(with_unit(field.value, unit, units)), { kind: "unit" });
    if (!step.keys.only) {
      words_at_once("As expected", step.as_expected, "good-answer");
      at_once(rest, "Same", step.same);
    }
    if (step.keys.over) jumps(rest);
    if (units.length < 3) add(rest, "−", () => put(with_sign(field.value)));
  }
  if (step.keys.none_open) at_once(rest, "None open", "none open");
  if (!step.keys.only) { // nothing goes on without this figure
    words_at_once("Can't tell", "can't tell");
    if (asks || units.length < 3) words_at_once("Skip", "skip");
    else at_once(rest, "Skip", "skip");
    at_once(rest, "Could not reach", "could not reach");
  }
  add(rest, "Aa", () => {
    field.setAttribute("inputmode", field.getAttribute("inputmode") === "none" ? "text" : "none");
    field.blur();
    field.focus();
  }, { label: "type or speak the reading" });
  if (asks) rest.append(h("div", { class: "typing" }, typing));
  below = [...rest.children];
  quick_or_not();
  const fit = (there) => {
    room = asks || there.room;
    line.style.marginTop = room ? "" : `${there.gap}px`;
    quick_or_not();
  };
  return { line, pad, fit };
}

// The number as typed and the unit behind it, if there is one.
function parts(text, units) {
  const trimmed = text.trim();
  const unit = units.find((one) => trimmed.endsWith(one.text));
  const number = unit ? trimmed.slice(0, -unit.text.length).trim() : trimmed;
  return [number, unit];
}

function with_digit(text, sign, units) {
  if (text.trim() === "OL") return sign;
  const [number, unit] = parts(text, units);
  return unit ? `${number}${sign} ${unit.text}` : text + sign;
}

function with_unit(text, unit, units) {
  if (text.trim() === "OL") return text;
  const [number] = parts(text, units);
  return `${number} ${unit.text}`.trim();
}

// Whether the quick row hides nothing that the step says above the field; where it does, `gap` is
// what keeps the digits at the foot of the screen, so that the row moves nothing when it comes.
export function room_for(card, line, pad) {
  const digits = pad.querySelector(".digits");
  const said = [...card.querySelectorAll(".step-words, .first, .mind, .points")].filter((one) => one.offsetHeight);
  if (!digits || !said.length || getComputedStyle(digits).position !== "sticky") return { room: true, gap: 0 };
  const foot = (one) => one.getBoundingClientRect().bottom + scrollY;
  const lowest = Math.max(...said.map((one) => foot(one.open ? one.querySelector("summary") : one)));
  const quick = line.querySelector(".quick");
  const row = QUICK + GAP;
  const left = innerHeight - digits.offsetHeight - line.offsetHeight + (quick ? row : 0);
  return { room: lowest + row <= left + 1, gap: Math.max(0, left - foot(card)) };
}

// A new step in front: from the top of the page, or as far down as its points need to stand above
// the line with the reading; what was proven last stays in sight. `anew`: another stood here.
export function bring_in_sight(card, entry, said, anew) {
  requestAnimationFrame(() => {
    if (anew) scrollTo({ top: 0 });
    const points = card.querySelector(".points");
    const line = entry.querySelector(".read");
    if (!points?.offsetHeight || !line || getComputedStyle(line).position !== "sticky" || scrollY > 0) return;
    const over = points.getBoundingClientRect().bottom - line.getBoundingClientRect().top;
    const most = (said.offsetHeight ? said : card).getBoundingClientRect().top;
    if (over > 0) scrollTo({ top: Math.min(Math.ceil(over), most) });
  });
}

const with_sign = (text) => (text.startsWith("-") ? text.slice(1) : `-${text}`);
