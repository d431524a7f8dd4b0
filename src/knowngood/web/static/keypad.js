// The keypad made for meter readings. Gloves: three columns, keys of 115 by 76 and more.

import { h, key } from "./dom.js";

const DIGITS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0"];
const NAMES = { ".": "point", "⌫": "erase the last sign", "−": "minus" };

// `take(text)` is called with the reading as text. Returns {line, pad}: the line
// stays in sight; it holds the field, or yes and no.
export function keypad(step, typed, { take, changed }) {
  const units = step.keys.units;
  const field = h("input", { class: "field", id: "reading", autocomplete: "off", maxlength: 200,
    "aria-label": `Reading: ${step.question}`, inputmode: "none", enterkeyhint: "done",
    placeholder: step.keys.answers.length ? "yes or no" : units[0]?.sign || "" });
  field.value = typed;
  const put = (text) => { field.value = text; changed(text); };
  const go = () => { if (field.value.trim()) take(field.value.trim()); else field.focus(); };
  field.addEventListener("input", () => changed(field.value));
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { event.preventDefault(); go(); }
  });
  const typing = [field, key("Take it", go, { kind: "do", id: "take" })];
  const line = h("div", { class: "read" }, step.keys.answers.length ? [] : typing);
  const pad = h("div", { class: "pad", id: "pad", role: "group", "aria-label": "Keypad" });
  const add = (sign, tap, given = {}) => pad.append(key(sign, tap, { label: NAMES[sign], ...given }));
  const at_once = (words, text, kind) => add(words, () => take(text), { disabled: text === null, kind });

  if (step.keys.answers.length) {
    for (const answer of step.keys.answers) {
      const good = answer === step.good;
      line.append(key(h("span", {}, h("b", {}, answer === "yes" ? "Yes" : "No"), good && h("br"),
        good && h("small", {}, "as it should")), () => take(answer), { kind: good ? "do answer good-answer" : "do answer" }));
    }
  } else {
    at_once("As expected", step.as_expected, "good-answer");
    at_once("OL", step.keys.over ? "OL" : null);
    at_once("Same", step.same);
    for (const sign of DIGITS) add(sign, () => put(with_digit(field.value, sign, units)), { kind: "digit" });
    add("⌫", () => put(field.value.trimEnd().slice(0, -1)), { kind: "digit" });
    for (const unit of units) add(unit.sign, () => put(with_unit(field.value, unit, units)));
    for (let spare = units.length; spare < 3; spare++) {
      if (spare === 2) add("−", () => put(with_sign(field.value)));
      else add("jumps", () => put(`${field.value} jumps`.trim()), { label: "the reading jumps" });
    }
  }
  at_once("Can't tell", "can't tell");
  at_once("Skip", "skip");
  if (step.keys.none_open) at_once("None open", "none open");
  at_once("Could not reach", "could not reach");
  add("Aa", () => {
    field.setAttribute("inputmode", field.getAttribute("inputmode") === "none" ? "text" : "none");
    field.blur();
    field.focus();
  }, { label: "type or speak the reading" });
  if (step.keys.answers.length) pad.append(h("div", { class: "typing" }, typing));
  return { line, pad };
}

// The number as typed and the unit behind it, if there is one.
function parts(text, units) {
  const trimmed = text.trim();
  const unit = units.find((one) => trimmed.endsWith(one.text));
  const number = unit ? trimmed.slice(0, -unit.text.length).trim() : trimmed;
  return [number, unit];
}

function with_digit(text, sign, units) {
  const [number, unit] = parts(text, units);
  return unit ? `${number}${sign} ${unit.text}` : text + sign;
}

function with_unit(text, unit, units) {
  const [number] = parts(text, units);
  return `${number} ${unit.text}`.trim();
}

const with_sign = (text) => (text.startsWith("-") ? text.slice(1) : `-${text}`);
