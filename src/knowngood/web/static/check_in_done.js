// After the check-in: the number, the papers, and where to go.

import { h, key, own } from "./dom.js";
import { stop_card } from "./counter_parts.js";
import { cover_card } from "./cover_card.js";

// The cover comes later than the keys above it: a finger may be on one of them, so they stay.
export function new_cover(cover, redraw) {
  document.getElementById("cover-here")?.replaceChildren(...[cover_card(cover, null, redraw)].flat(9).filter((one) => one instanceof Node));
}

// `cover`: what the shop's computer says of it, null while it is not known; `redraw`: after an answer.
// `alone`: the computer was asked and did not answer.
export function done_card(done, another, cover, redraw, alone = false) {
  const name = done.number || done.job.slice(0, 8);
  return h("section", { id: "done", "aria-label": "Checked in" },
    h("div", { class: "card good", role: "status" },
      h("p", { class: "mark" }, done.number ? "✓ checked in" : "● kept on this phone"),
      h("h1", { class: "number", id: "job-number" }, name),
      h("p", {}, own(done.words)),
      !done.number && !alone && h("p", { id: "number-comes" }, "The number comes from the shop's computer in a moment."),
      !done.number && alone && h("p", { id: "alone" }, "The shop's computer is not reached. The number comes when it is; until then write this sign on a paper tag.")),
    h("p", { class: "card loud", id: "refused", hidden: true }),
    done.unsafe && stop_card(),
    done.number && h("div", { class: "keys two" },
      h("a", { class: "key", href: `/job/${done.job}/tag.pdf?size=62`, id: "tag-62" }, "Tag, 62 mm label"),
      h("a", { class: "key", href: `/job/${done.job}/tag.pdf?size=a6`, id: "tag-a6" }, "Tag, A6"),
      h("a", { class: "key", href: `/job/${done.job}/claim-check.pdf`, id: "claim-check" }, "Claim check"),
      h("a", { class: "key", href: `/job/${done.job}/sheet`, id: "to-sheet" }, "The counter sheet"),
      done.bench && h("a", { class: "key do", href: `/job/${done.job}/bench`, id: "to-bench" }, "To the bench")),
    h("div", { id: "cover-here" }, cover && cover_card(cover, null, redraw)),
    h("div", { class: "keys one" }, key("Check in another", another, { id: "another", kind: done.number ? "" : "do" })));
}
