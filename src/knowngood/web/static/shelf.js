// A job on the shelf: each tap goes into the outbox; once it has arrived the page shows it.

import { h, own, say } from "./dom.js";
import { keep, unsent, watch } from "./outbox.js";

const root = () => document.getElementById("resume");
const job = root().dataset.job;
let sent = 0; // entries of this page that have not arrived
let asking = false;

const body_of = (element) => Object.fromEntries(
  Object.entries(element.dataset).filter(([name]) => name !== "kind"));

async function put(kind, body) {
  try {
    await keep({ job, kind, body, based_on: Number(root().dataset.seq) });
    sent += 1;
  } catch (error) {
    notice([`Not kept: ${error.message}`]);
  }
  await look();
}

function form_body(form) {
  const values = Object.fromEntries([...new FormData(form)].map(([name, text]) => [name, text.trim()]));
  const { day = "", date = "", ...body } = values;
  const chosen = date || day;
  const names = { PartOrdered: "expected", AnswerAwaited: "by_date", Promised: "promised" };
  if (names[form.dataset.form]) body[names[form.dataset.form]] = chosen;
  return body;
}

function notice(lines) {
  const place = document.getElementById("pending");
  place.hidden = lines.length === 0;
  place.replaceChildren(...lines.map((line) => h("span", {}, own(line), " ")));
}

async function look() {
  const waiting = await unsent(job).catch(() => []);
  const refused = waiting.filter((one) => one.state === "refused");
  const lines = refused.map((one) => `▲ refused, still on this phone: ${one.message}`);
  const away = waiting.length - refused.length;
  if (away) lines.push(`● ${away} kept on this phone, shown here once the shop's computer has it.`);
  notice(lines);
  root().dataset.asking = away ? "yes" : "";
  if (!away && sent) { sent = 0; await fresh(refused.length > 0); }
}

// The page anew, in place; the scroll stays. After a refusal (`mend`) the form stays open with what
// was typed, to be mended.
async function fresh(mend = false) {
  if (asking) return;
  asking = true;
  try {
    const text = await (await fetch(location.href, { cache: "no-store" })).text();
    const there = new DOMParser().parseFromString(text, "text/html").getElementById("resume");
    if (there) {
      const open = mend ? [...root().querySelectorAll("details[open]")].map((one) => one.id) : [];
      const typed = mend ? [...root().querySelectorAll("input.field")].filter((one) => one.value).map((one) => [one.id, one.value]) : [];
      root().replaceWith(document.adoptNode(there));
      for (const id of open) document.getElementById(id)?.setAttribute("open", "");
      for (const [id, text] of typed) if (id && document.getElementById(id)) document.getElementById(id).value = text;
    }
    root().dataset.ready = root().dataset.fresh = "yes";
  } catch { /* the bar says that there is no contact */ }
  asking = false;
  await look();
}

document.addEventListener("click", (event) => {
  const tapped = event.target.closest("[data-kind]");
  if (tapped) put(tapped.dataset.kind, body_of(tapped));
});
document.addEventListener("submit", (event) => {
  const form = event.target.closest("[data-form]");
  if (!form) return;
  event.preventDefault();
  const body = form_body(form);
  if (form.dataset.form === "Promised" && !body.promised) {
    return say(form.querySelector("legend"), "Done by: choose a day");
  }
  put(form.dataset.form, body);
});
if (location.hash === "#order") document.getElementById("order")?.setAttribute("open", "");
watch(() => { look(); });
root().dataset.ready = "yes";
