// Cover at the counter: the answer with its reasons, and the questions that settle it. It warns,
// and never stops anything.

import { fold, h, key, own } from "./dom.js";
import { field, one_of } from "./counter_parts.js";
import { keep } from "./outbox.js";

export const notices_of = (notices) => notices.map((one) => h("p", { class: "card loud notice", role: "alert" },
  h("b", {}, `▲ Notice ${one.id}: `), own(one.words), one.stop_use && h("b", {}, ". Do not run it.")));

const tapped = new Map(); // "job question" -> answer that is on its way

export async function cover_of(job) {
  const answer = await fetch(`/api/jobs/${encodeURIComponent(job)}/cover`, { cache: "no-store" });
  if (!answer.ok) return null;
  const it = await answer.json();
  for (const one of it.questions) {
    const mine = `${it.id} ${one.field} ${one.ask}`;
    if (tapped.get(mine) === one.answer) tapped.delete(mine);
    else if (tapped.has(mine)) one.answer = tapped.get(mine);
  }
  return it;
}

// `seq`: what the phone had seen; `redraw` is called once an answer is kept.
export function cover_card(it, seq, redraw) {
  const send = async (one, answer, body) => {
    tapped.set(`${it.id} ${one.field} ${one.ask}`, answer);
    one.answer = answer;
    await keep({ job: it.id, kind: "CoverNoted", based_on: seq, body });
    redraw();
  };
  const ask = (one) => {
    if (one.kind === "day") {
      return h("div", {}, field(one.ask, one.answer, () => {}, { id: `cover-${one.field}`, type: "date",
        onchange: (event) => event.target.value && send(one, event.target.value, { [one.field]: event.target.value }) }));
    }
    if (one.kind === "in_hand") {
      return key([h("span", { class: "mark", "aria-hidden": "true" }, one.answer ? "✓ " : "□ "), h("span", {}, own(one.ask), one.answer ? " is here" : ": is it here?")],
        () => send(one, "yes", { proof: [...new Set([...it.questions.filter((q) => q.kind === "in_hand" && q.answer).map((q) => q.ask), one.ask])] }), { pressed: Boolean(one.answer) });
    }
    const body = (answer) => (one.field.startsWith("answer:") ? { answers: { [one.field.slice(7)]: answer } } : { [one.field]: answer });
    return h("fieldset", {}, h("legend", {}, own(one.ask)), one_of(one.options, one.answer, (answer) => send(one, answer, body(answer))),
      one.evidence && h("p", { class: "soft" }, `Evidence: ${one.evidence}`));
  };
  const open = it.questions.filter((one) => !one.answer);
  const done = it.questions.filter((one) => one.answer);
  if (!it.sentence && !it.notices.length) return null;
  return h("section", { id: "cover", "aria-label": "Cover" }, notices_of(it.notices),
    it.sentence && [
      h("h2", {}, it.programme ? own(it.programme) : "Cover"),
      h("p", { class: `card says ${it.tone}`, id: "cover-answer", role: "status" }, own(it.sentence)),
      it.other_groups.map((one) => h("p", { class: "soft" }, own(one))),
      [...tapped.keys()].some((one) => one.startsWith(it.id)) && h("p", { class: "soft" }, "● kept on this phone; the answer follows"),
      open.length > 0 && h("div", { class: "card", id: "cover-questions" }, open.map(ask)),
      done.length > 0 && fold(`Answered (${done.length})`, done.map(ask), { id: "cover-done" }),
      h("p", { class: "soft" }, "It warns only: the bench is open. ", it.law),
    ]);
}
