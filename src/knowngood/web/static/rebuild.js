// Putting together: the teardown backwards, one line at a time with its picture beside it.

import { cause_keys } from "./causes.js";
import { fold, h, key, own } from "./dom.js";
import { few, field, stepper, text_of } from "./fields.js";
import { thumbs } from "./thumbs.js";

export function rebuild(at) {
  const { apart, memory, set, view } = at;
  if (!apart.lines.length) {
    return h("section", { class: "card" }, h("h2", { class: "step-words" }, "Nothing is off"),
      h("p", {}, view.decision ? "Nothing was taken off, and nothing is to be fitted." : "No part is decided on and nothing was taken off."));
  }
  const open = apart.lines.filter((line) => !line.done);
  const line = apart.lines.find((one) => one.id === memory.line) || open[0];
  const done = apart.lines.length - open.length;
  return [
    apart.count.said.length > 0 && h("section", { class: "card loud", role: "alert", id: "uneven" },
      h("h2", { class: "step-words" }, "The fasteners do not come out even"), apart.count.said.map((one) => h("p", { class: "said" }, own(one)))),
    at.back_again && again(at),
    line ? in_front(at, line) : h("section", { class: "card good", id: "together" },
      h("p", { class: "mark" }, "✓ together again"), h("p", {}, own(apart.count.words)),
      key("To the release checks", () => at.go("release"), { kind: "do" })),
    h("section", { id: "lines" },
      h("h2", {}, `${done} of ${apart.lines.length} done`), !apart.count.said.length && apart.count.words !== "no fasteners counted" && h("p", { class: "soft" }, own(apart.count.words)),
      h("ul", { class: "ticks" }, apart.lines.map((one) => h("li", {}, key([
        h("span", { class: "mark" }, one.done ? "✓" : one.wrong ? "✗" : "○"),
        h("span", {}, own(one.words), one.by && h("span", { class: "soft" }, " ", own(one.by)), one.pending && h("span", { class: "soft" }, " ● on this phone")),
      ], () => set({ line: one.id }), { pressed: one === line, label: `${one.words} ${one.done ? "done" : one.wrong ? "not right" : "to do"}` })))))];
}

// Who was away sees what was done last: an interruption is where steps are left out.
export function again(at) {
  return h("section", { class: "card", id: "again-here" }, h("h2", {}, "Before you go on: look at the last three again"),
    at.apart.last.map((one) => h("div", {}, h("p", {}, own(one.words), h("span", { class: "soft" }, " by ", own(one.by))), thumbs(one.about, at))),
    key("Looked at: go on", at.go_on, { kind: "do", id: "go-on" }));
}

function in_front(at, line) {
  const asks = { discharge: prove, cause, part, tag, fit, prove, pinch: look, count, direction: look, back }[line.kind];
  return h("section", { class: `card ${line.wrong ? "loud" : ""}`, id: "line", "aria-label": "This line" },
    h("h2", { class: "step-words" }, own(line.words)),
    line.caution && h("p", { class: "mind" }, h("b", {}, "Mind: "), line.caution),
    line.hints.map((hint) => h("p", { class: "trap" }, own(hint))),
    !line.done && before(at, line),
    line.where && h("p", {}, h("b", {}, "It lies: "), own(line.where)),
    line.wrong && h("p", { role: "alert" }, h("span", { class: "mark" }, "✗ not right: "), own(line.said)),
    line.done ? [line.kind === "fit" && not_off(at), is_done(at, line)] : asks(at, line));
}

const BITES = new Set(["discharge", "fit", "prove", "pinch"]); // where a cover closes without them

const proofs_before = (at, line) => at.apart.lines.slice(0, at.apart.lines.indexOf(line)).filter((one) => BITES.has(one.kind));

// What should have come before this line, when somebody takes it out of order.
function before(at, line) {
  if (line.kind !== "back") return null;
  const open = proofs_before(at, line).filter((one) => !one.done && !one.wrong).reverse();
  return open.length > 0 && h("p", { class: "mind", id: "before" }, h("b", {}, "Not done yet before it: "), own(few(open.map((one) => one.words))));
}

function is_done(at, line) {
  const { act, set } = at;
  const back = {
    back: () => act("StepOpened", { step: line.about }),
    part: null, fit: null, tag: null,
  };
  const undo = line.kind in back ? back[line.kind] : () => act("LineUnticked", { line: line.id });
  return [h("p", {}, h("span", { class: "mark" }, "✓ done "), line.by && own(line.by), line.said && [": ", own(line.said)]),
    h("div", { class: "keys two" }, undo && key(line.kind === "back" ? "It is off again" : "Not done after all", () => { undo(); set({ line: line.id }); }),
      key("Go on", () => set({ line: "" }), { kind: "do" }))];
}

const ticked = ({ act, set }, line, result, text = "") => {
  act("LineTicked", { line: line.id, words: line.words, result, text });
  set({ line: "" });
};

function cause(at, line) {
  const open = at.view.causes.open.find((one) => one.id === line.about);
  const said = (answer) => { at.act("CauseAnswered", { cause: line.about, answer }); at.set({ line: answer === "yes" ? line.id : "" }); };
  if (!open || at.answered(line.about)) {
    return h("div", { class: "keys one" }, key("Done, cleared", () => ticked(at, line, "done"), { kind: "do", id: "cleared" }));
  }
  return cause_keys(open, { sure: at.memory.sure, ask: (sure) => at.set({ sure }), say: said, ids: ["found", "not-found"] });
}

// The part in hand: job, number, old beside new, plugs counted.
function part(at, line) {
  const { draft, memory, set, act, apart } = at;
  const one = apart.parts.find((known) => known.id === line.about);
  const plugs = memory.plugs || { old: null, now: null };
  const say = (verdict) => {
    act("PartInHand", { part: one.id, verdict, number: text_of(draft, "number") || one.number, chain: text_of(draft, "chain"),
      beside: Boolean(memory.beside), old_plugs: plugs.old, new_plugs: plugs.now, reason: text_of(draft, "part-why") });
    for (const name of ["number", "chain", "part-why"]) draft[name] = "";
    set({ line: "", plugs: null, beside: false });
  };
  const count = (which) => stepper(`plugs-${which}`, which === "old" ? "plugs on the old one" : "plugs on the new one",
    plugs[which] ?? 0, (n) => set({ plugs: { ...plugs, [which]: n } }));
  return [
    h("p", {}, h("b", {}, `Job ${at.view.name}`), ", ", own(at.view.head.machine), at.view.head.serial && [", serial ", own(at.view.head.serial)]),
    field(draft, "number", "Number on the new one", { hint: one.number || "as printed" }),
    field(draft, "chain", "If the number differs: what the slip says", { hint: "replaces ..." }),
    count("old"), count("now"),
    h("div", { class: "keys two" },
      key("Old beside new: alike", () => set({ beside: !memory.beside }), { pressed: Boolean(memory.beside), id: "beside" }),
      key("Picture of both", () => at.photo(`part ${one.id}`, `old and new ${one.words}`))),
    thumbs(`part ${one.id}`, at),
    field(draft, "part-why", "What differs", { hint: "only if something does" }),
    h("div", { class: "keys two" }, key("It is the right part", () => say("right"), { kind: "do", id: "right" }),
      key("Wrong part", () => (text_of(draft, "part-why") ? say("wrong") : document.getElementById("f-part-why").focus()), { id: "wrong" }))];
}

// The removed part: tagged, put where it is found again, and asked on the bench what it can tell.
function tag(at, line) {
  const { draft, act, set } = at;
  const one = at.apart.parts.find((known) => known.id === line.about);
  const keep = (words) => {
    act("PartTagged", { part: one.id, tag: words, where: text_of(draft, "tag-where"), tested: text_of(draft, "tag-tested") });
    draft["tag-where"] = draft["tag-tested"] = "";
    set({ line: "" });
  };
  return [h("p", {}, "Tag: ", h("b", {}, own(one.tag_words))), field(draft, "tag-where", "Kept where"),
    field(draft, "tag-tested", "Tested on the bench", { hint: "only what can be" }),
    thumbs(`part ${one.id}`, at),
    h("div", { class: "keys two" }, key("Tagged", () => keep(one.tag_words), { kind: "do", id: "tagged" }),
      key("Picture of it", () => at.photo(`part ${one.id}`, `removed ${one.words}`))),
    h("div", { class: "keys one" }, key("No old one is kept", () => keep("no old part kept")))];
}

function fit(at, line) {
  return [not_off(at), h("div", { class: "keys one" },
    key("Fitted", () => { at.act("PartFitted", { part: line.about }); at.set({ line: "" }); }, { kind: "do", id: "fitted" }))];
}

// What the part needs off and nobody noted: asked, as it may be in all the same.
const not_off = ({ apart, go }) => apart.not_off.length > 0 && h("div", { class: "mind", id: "not-off" },
  h("p", {}, "To fit it, this comes off, and nobody noted it: ", own(few(apart.not_off)), ". Was it off? Note it first, so that its screws and wires are asked when it goes back."),
  h("div", { class: "keys one" }, key("Note what came off", () => go("apart"), { id: "note-off" })));

function prove(at, line) {
  const { draft } = at;
  const say = (result) => {
    if (result === "good" && line.reads && !text_of(draft, "proof")) {
      at.set({ unread: line.id });
      requestAnimationFrame(() => document.getElementById("f-proof")?.focus());
      return;
    }
    ticked(at, line, result, text_of(draft, "proof"));
    draft.proof = "";
  };
  const waits = line.kind === "discharge";
  return [h("p", { class: "soft" }, waits ? "On the capacitor itself, not at the input." : "With the source out, before the cover closes."),
    at.memory.unread === line.id && h("p", { role: "alert", id: "unread" }, "Nothing was read yet: what does the meter say?"),
    field(draft, "proof", line.reads ? "What the meter says" : "What was seen",
      { hint: line.reads || "only if something is", enter: () => say("good") }), right_or_not(say)];
}

function look(at, line) {
  const say = (result) => { ticked(at, line, result, text_of(at.draft, "look")); at.draft.look = ""; };
  return [thumbs(line.about, at), field(at.draft, "look", "What is not right", { hint: "only if something is" }), right_or_not(say)];
}

const right_or_not = (say) => h("div", { class: "keys two" }, key("Good", () => say("good"), { kind: "do", id: "good" }),
  key("Not good", () => say("not good"), { id: "not-good" }));

function count(at, line) {
  const { apart } = at;
  return [h("p", { class: "said" }, own(apart.count.words)),
    apart.count.waiting > 0 && h("p", {}, "Some steps are still off."),
    h("div", { class: "keys one" }, key("Tray empty, nothing left over", () => ticked(at, line, "done"),
      { kind: "do", id: "even", disabled: apart.count.said.length > 0 || apart.count.waiting > 0 }))];
}

function back(at, line) {
  const { apart, act, set, memory, draft } = at;
  const inside = line.inside.map((id) => apart.off.find((one) => one.id === id)).filter((one) => one && !one.waiting);
  const counts = memory.back || { back: line.count, over: 0 };
  const close = (body) => { act("StepClosed", { step: line.about, ...body }); set({ line: "", back: null, uneven: "" }); };
  const wrong = line.closes ? proofs_before(at, line).filter((one) => one.wrong) : [];
  const uneven = memory.uneven === line.id;
  const checks = line.source ? apart.release.checks.filter((one) => one.order === 0 && one.result === "blank") : [];
  return [
    checks.length > 0 && h("div", { id: "source-first" }, h("p", { class: "mind" }, h("b", {}, "While the source is still out: "), few(checks.map((one) => one.words))),
      key("To the release checks", () => at.go("release"), { kind: "do", id: "checks-first" })),
    thumbs(line.about, at, line.pictures),
    line.fasteners && h("p", { class: "said" }, own(line.fasteners)),
    inside.length + wrong.length > 0 ? [inside.length > 0 && h("p", { class: "mind" }, h("b", {}, "First back inside it: "), inside.map((one) => one.words).join("; ")),
      wrong.length > 0 && h("div", { id: "not-over", class: "card loud", role: "alert" }, h("p", {}, h("b", {}, "▲ Not closed over what is not good: "), wrong.map((one) => own(`${one.words}: ${one.said || "not good"}. `))),
        key("Mended: prove it again", () => set({ line: wrong[0].id }), { kind: "do", id: "prove-again" })),
      fold("It closes all the same", [field(draft, "anyway-back", "Why? It is kept with the job"),
        key("Close it with this reason", () => {
          const anyway = text_of(draft, "anyway-back");
          if (anyway) { draft["anyway-back"] = ""; close({ anyway }); } else document.getElementById("f-anyway-back").focus();
        }, { id: "close-over", kind: "risky" })], { id: "over-fold" })]
      : [h("div", { class: line.count ? "keys two" : "keys one" },
        key(line.count ? `Back, all ${line.count} in` : "Back in its place", () => close({}), { kind: checks.length ? "high" : "do high", id: "is-back" }),
        line.count > 0 && key("Not all, or one too many", () => set({ uneven: uneven ? "" : line.id, back: counts }), { pressed: uneven, id: "uneven-key" })),
      uneven && h("div", {}, stepper("went-in", "went in", counts.back, (n) => set({ back: { ...counts, back: n } })),
        stepper("left-over", "left over", counts.over, (n) => set({ back: { ...counts, over: n } })),
        key("Back with this count", () => close(counts), { id: "back-uneven" }))]];
}
