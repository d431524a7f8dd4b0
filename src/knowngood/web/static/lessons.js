// What this job may teach the machine's file: one tap keeps a step, or the
// minutes, fasteners and pictures of one that the file has.

import { h, key, own } from "./dom.js";

export function lessons(at) {
  const { apart, act, waiting } = at;
  if (!apart.lessons?.length) return null;
  const sent = (one) => waiting.some((entry) => entry.kind === "StepTaught" && entry.body.step === one.step && entry.state === "waiting");
  const keep = (one, alone) => act("StepTaught", { step: one.step, ...(alone ? { alone: true } : {}) });
  const row = (one) => h("li", {},
    h("p", {}, h("b", {}, own(one.words))), h("p", { class: "soft" }, own(one.said)),
    one.taught ? h("p", { class: "mark" }, "✓ in the file ", own(one.taught))
      : sent(one) ? h("p", { class: "mark" }, "● on this phone: kept when the shop's computer is reached")
        : h("div", { class: "keys one" },
          key(one.time_alone ? "Take these minutes" : "Keep it in the file", () => keep(one, false), { kind: "do", label: `Keep in the file: ${one.words}` }),
          one.new && one.opens && key("Keep it; the next step can come off without it", () => keep(one, true))));
  return h("section", { class: "card", id: "lessons" }, h("h2", {}, "Worth keeping for the next one"),
    h("p", { class: "soft" }, "Goes into this shop's own file of the machine. This job stays as it is."),
    h("ul", { class: "rows" }, apart.lessons.map(row)));
}
