// A job's counter pages: what is sent goes through the outbox, what is shown comes from the server.

import { fold, h, own } from "./dom.js";
import { keep, on_view, unsent, watch } from "./outbox.js";

// `draw(view, send, waiting)` gives the whole page. Returns nothing.
export function at_counter(draw) {
  const root = document.getElementById("counter");
  let view = JSON.parse(document.getElementById("inside").textContent);
  let waiting = [];
  let trouble = "";

  async function send(kind, body, more = {}) {
    try {
      await keep({ job: view.id, kind, body, based_on: view.seq, ...more });
      trouble = "";
    } catch (error) {
      trouble = `Not kept: ${error.message}`;
    }
    waiting = await unsent(view.id).catch(() => waiting);
    show();
  }

  function show() {
    const focused = document.activeElement?.id;
    const open = new Set([...root.querySelectorAll("details[open]")].map((one) => one.id));
    const refused = waiting.filter((one) => one.state === "refused");
    root.replaceChildren(
      ...[trouble && h("p", { class: "card loud", role: "alert" }, trouble),
        refused.map((one) => h("p", { class: "card loud", role: "alert" },
          h("span", { class: "mark" }, "▲ refused, still on this phone: "), one.message, " ",
          h("a", { class: "key", href: "/phone" }, "This phone's queue"))),
        waiting.length > refused.length && h("p", { class: "card" }, h("span", { class: "mark" },
          `● ${waiting.length - refused.length} kept on this phone, not with the shop's computer yet`)),
        draw(view, send, show, waiting)].flat(9).filter((one) => one instanceof Node));
    for (const one of root.querySelectorAll("details")) if (open.has(one.id)) one.open = true;
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  }

  async function freshen() {
    try {
      const answer = await fetch(`/api/jobs/${view.id}/counter`, { cache: "no-store" });
      if (answer.ok) view = await answer.json();
    } catch { /* the outbox says that there is no contact */ }
    waiting = await unsent(view.id).catch(() => waiting);
    show();
  }

  on_view((fresh) => { if (fresh.id === view.id) freshen(); }, { small: true });
  watch(async () => {
    const now = await unsent(view.id).catch(() => waiting);
    const other = now.length !== waiting.length || now.some((one, at) => one.state !== waiting[at]?.state);
    waiting = now;
    if (other) show();
  });
  show();
  root.dataset.ready = "yes";
}

export const papers = (view) => h("div", { class: "keys two", id: "papers" },
  h("a", { class: "key", href: `/job/${view.id}/tag.pdf?size=62` }, "Tag, 62 mm label"),
  h("a", { class: "key", href: `/job/${view.id}/tag.pdf?size=a6` }, "Tag, A6"),
  h("a", { class: "key", href: `/job/${view.id}/claim-check.pdf` }, view.handed ? "Receipt" : "Claim check"),
  h("a", { class: "key", href: `/job/${view.id}/papers#estimate` }, "Estimate and payment"),
  view.machine && h("a", { class: "key", href: `/job/${view.id}/bench` }, "To the bench"));

// Who let it go although it was held, and for what; the checks are one tap below.
export const overrides = (view) => view.overrides.map((one, at) => h("section", { class: "card loud" },
  h("p", {}, h("b", {}, "▲ Hold overridden "), own(`by ${one.by}: ${one.reason}`)),
  list_of(one.checks, `override-${at}`)));

export const list_of = (lines, id) => (lines.length > 3
  ? fold(`${lines.length} checks`, h("ul", {}, lines.map((one) => h("li", {}, own(one)))), { id })
  : h("ul", {}, lines.map((one) => h("li", {}, own(one)))));
