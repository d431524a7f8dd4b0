// A job without a machine file: it is taken apart all the same, with pictures and steps of its own.

import { h, key } from "./dom.js";
import { take_picture } from "./camera.js";
import { keep, on_view, unsent, watch } from "./outbox.js";

const root = document.getElementById("no-file");
const { job, seq } = root.dataset;
const KINDS = { battery: "It has a battery pack", engine: "It has an engine" };
let trouble = "";

async function show() {
  const waiting = await unsent(job).catch(() => []);
  const asked = waiting.find((one) => one.kind === "WithoutFile" && one.state === "waiting");
  const refused = waiting.filter((one) => one.state === "refused");
  const pictures = waiting.filter((one) => one.picture).length;
  root.replaceChildren(h("section", { class: "card", id: "without" },
    h("h2", { class: "step-words" }, "Take it apart without a file"),
    h("p", {}, "Pictures and steps in your own words; the rebuild goes backwards, and the release checks are those of any machine of its kind. A file can be named later."),
    trouble && h("p", { role: "alert" }, trouble),
    refused.map((one) => h("p", { class: "loud", role: "alert" }, h("span", { class: "mark" }, "▲ refused, still on this phone: "), one.message, " ", h("a", { class: "key", href: "/phone" }, "This phone's queue"))),
    asked ? h("p", { role: "status" }, h("span", { class: "mark" }, "● "), "kept on this phone; it opens when the shop's computer is reached")
      : h("div", { class: "keys one" }, Object.entries(KINDS).map(([kind, words]) => key(words, () => ask(kind), { kind: "do", id: `kind-${kind}` }))),
    h("div", { class: "keys one" }, key(pictures ? `Picture (${pictures} on this phone)` : "Picture", () => take_picture({ job, about: "", caption: "", based_on: Number(seq), done: show,
      failed: (error) => { trouble = `The picture was not kept: ${error.message}`; show(); } }), { id: "picture" }))));
}

async function ask(kind) {
  try {
    await keep({ job, kind: "WithoutFile", body: { kind }, based_on: Number(seq) });
  } catch (error) { trouble = `Not kept: ${error.message}`; }
  show();
}

on_view((fresh) => { if (fresh.id === job && fresh.apart) { history.replaceState(null, "", "#apart"); location.reload(); } }, { small: true });
watch(() => show());
show();
