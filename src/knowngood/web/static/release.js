// Handing back: each check of the family, then the end of the job. What is failed or blank holds.

import { fold, h, key, own } from "./dom.js";
import { few, field, text_of } from "./fields.js";
import { lessons } from "./lessons.js";
import { minutes } from "./minutes.js";

const MARK = { pass: "✓ pass", fail: "✗ FAIL", "not applicable": "– not applicable", blank: "○ blank" };

export function release(at) {
  const { apart, view, set, memory } = at;
  const { checks, held, words } = apart.release;
  const blank = checks.filter((one) => one.result === "blank");
  const stopped = checks.filter((one) => one.result === "fail" && !one.override);
  const check = checks.find((one) => one.id === memory.check) || (stopped.length ? null : blank[0]);
  const unsent = checks.some((one) => one.pending);
  return [
    h("section", { class: `card ${held ? "loud" : "good"}`, id: "held" },
      h("p", { class: "step-words", role: "status" }, h("span", { class: "mark" }, held ? "▲ " : "✓ "), `${words[0].toUpperCase()}${words.slice(1)}`),
      unsent && h("p", {}, h("span", { class: "mark" }, "● "), "checks on this phone are not sent yet"),
      apart.wrong.map((one) => h("p", { class: "said" }, h("span", { class: "mark" }, "✗ "), own(one)))),
    stopped.length > 0 && !view.closed && stop(at, stopped),
    check && !view.closed && in_front(at, check, stopped),
    h("section", {}, h("h2", {}, `${checks.length - blank.length} of ${checks.length} checks made`),
      h("ul", { class: "ticks" }, checks.map((one) => h("li", {}, key([
        h("span", { class: "mark" }, MARK[one.result]),
        h("span", {}, own(one.words), one.reason && h("span", { class: "soft" }, " ", own(one.reason)),
          one.stale && h("b", {}, ` ${one.stale}: once more`),
          one.override && h("b", {}, " overridden by ", own(one.override))),
      ], () => (one.line ? prove(at, one) : set({ check: one.id })), { pressed: one === check, label: `${one.words}: ${one.result}` }))))),
    view.closed ? h("div", { class: "keys one" }, key("Open the job again", () => at.act("JobReopened", { reason: "opened again at the bench" }), { id: "reopen" }))
      : [held && override(at), the_end(at)],
    lessons(at),
    minutes(at),
  ];
}

// A proof of the rebuild that was not good is made again where it belongs.
function prove(at, one) {
  at.set({ line: one.line });
  at.go("rebuild");
}

// A check that failed: nothing is run from here on, and the way back to the bench.
function stop(at, stopped) {
  return h("section", { class: "card loud", role: "alert", id: "stopped" },
    h("h2", { class: "step-words" }, h("span", { class: "mark" }, "▲ "), "Stop: take the source out, nothing more is run"),
    stopped.map((one) => h("p", { class: "said" }, own(`Failed: ${one.words}. ${one.reason}`))),
    h("div", { class: "keys two" }, key("Back to the bench", () => at.go("measure"), { kind: "do", id: "to-bench" }),
      key("Take apart", () => at.go("apart"), { id: "to-apart" })),
    h("div", { class: "keys one" }, stopped.map((one) => key(`Mended: check again, ${one.words}`, () => (one.line ? prove(at, one) : at.set({ check: one.id, asks: "" })), { id: `again-${one.id}` }))));
}

function in_front(at, check, stopped) {
  const { act, set, draft, memory } = at;
  const failed = check.result === "fail" && !check.override;
  if (check.runs && !failed && check.result === "blank" && stopped.length) {
    return h("section", { class: "card", id: "check", "aria-label": "This check" }, h("h2", { class: "step-words" }, check.words),
      h("p", { class: "mind", id: "waits" }, "It waits until what failed is mended and passes."));
  }
  const say = (result) => {
    const reason = text_of(draft, "check-why");
    if ((result !== "pass" || failed) && !reason) {
      set({ asks: result });
      requestAnimationFrame(() => document.getElementById("f-check-why")?.focus());
      return;
    }
    act("ReleaseChecked", { check: check.id, result, reason: result === "pass" && !failed ? "" : reason });
    draft["check-why"] = "";
    set({ check: "", asks: "" });
  };
  // While it is asked why, the key that was pressed keeps it with what is typed.
  const one_key = (result, words, id) => {
    const asked = memory.asks === result;
    const main = memory.asks ? asked : result === "pass";
    return key(asked ? `Keep: ${words.toLowerCase()}` : words, () => say(result), { id, kind: main ? "do high" : "high", pressed: result === "pass" && !asked ? undefined : asked });
  };
  const { checks } = at.apart.release;
  const first = check.result === "blank" ? checks.filter((one) => one.order < check.order && one.result !== "pass" && one.result !== "not applicable") : [];
  return h("section", { class: "card", id: "check", "aria-label": "This check" },
    h("p", { class: "soft", id: "stage" }, check.stage_words),
    h("h2", { class: "step-words" }, check.words),
    check.result === "fail" && h("p", { class: "said", id: "failed-before" }, h("span", { class: "mark" }, "✗ "), "Failed: ", own(check.reason || ""), ". Mend it, then check it again."),
    first.length > 0 && h("p", { class: "mind", id: "first" }, h("b", {}, "First, before anything runs: "), few(first.map((one) => one.words))),
    check.caution && h("p", { class: "mind" }, h("b", {}, "Mind: "), check.caution),
    check.source && check.source !== "common practice" && h("p", { class: "soft" }, check.source),
    memory.asks && h("p", { role: "alert" }, memory.asks === "pass" ? "It failed before: what was done about it?" : `${memory.asks === "fail" ? "Failed" : "Not applicable"}: why?`),
    memory.asks && field(draft, "check-why", "In a few words", { enter: () => say(memory.asks) }),
    h("div", { class: "keys three" }, one_key("pass", "Pass", "pass"), one_key("fail", "Fail", "fail"), one_key("not applicable", "Not applicable", "not-applicable")));
}

function override(at) {
  const { act, draft, apart } = at;
  const go = () => {
    const reason = text_of(draft, "override-why");
    if (reason) act("HoldOverridden", { by: text_of(draft, "override-by") || at.person(), reason });
    draft["override-why"] = "";
  };
  return fold("Hand it back all the same", [
    h("p", { class: "mind" }, h("b", {}, "Mind: "), "name and reason print on the papers. Held by: ", own(apart.release.holding.join("; "))),
    field(draft, "override-by", "Who takes it on", { hint: at.person() }), field(draft, "override-why", "Why"),
    key("I take it on", go, { id: "override", kind: "risky" })], { id: "override-fold" });
}

function the_end(at) {
  const { apart, act, draft, memory, set, view } = at;
  const left = apart.release.left;
  const pending = at.waiting.length > 0;
  const why = text_of(draft, "anyway");
  const close = (outcome, anyway = "") => { act("JobClosed", { outcome, anyway }); set({ ask_close: false }); draft.anyway = ""; };
  const mended = () => {
    if (left.length && !why) { set({ ask_close: true }); return; }
    close("repaired", why);
  };
  return h("section", { class: "card", id: "the-end" }, h("h2", {}, "The end of the job"),
    pending && h("p", { class: "soft" }, "It closes when everything on this phone has arrived."),
    memory.ask_close && left.length > 0 && [h("div", { class: "card loud", role: "alert" }, h("p", { class: "mark" }, "▲ Still open"), left.map((one) => h("p", {}, own(one)))),
      field(draft, "anyway", "Close it all the same, because", { enter: mended })],
    h("div", { class: "keys one" },
      key(memory.ask_close && left.length ? "Closed with this reason" : "Repaired: close the job", mended, { kind: "do", id: "close-repaired", disabled: apart.release.held })),
    h("div", { class: "keys two" },
      key("Back unrepaired", () => close("returned unrepaired"), { id: "close-unrepaired" }), key("Scrapped", () => close("scrapped")),
      h("a", { class: "key", href: `/job/${view.id}/claim.pdf` }, "The claim as PDF")));
}
