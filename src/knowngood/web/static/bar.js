// The bar of every page: what is unsent, and who works here.

import { h, key, own, say } from "./dom.js";
import { person, start, watch } from "./outbox.js";

const unsent = document.getElementById("unsent");
const words = document.getElementById("unsent-words");
const who = document.getElementById("who");
const dialog = document.getElementById("who-dialog");

const clock_off = h("p", { class: "card loud", role: "alert", id: "clock-off", hidden: true });
document.querySelector("main").before(clock_off);

watch(({ unsent: n, refused, reached, clock }) => {
  say(clock_off, clock);
  clock_off.hidden = !clock;
  const away = reached ? "" : ", no contact";
  const held = refused ? `, ${refused} refused` : "";
  say(words, n ? `${n} unsent${held}${away}` : `all sent${away}`);
  say(unsent.querySelector(".shape"), refused ? "▲" : n ? "●" : "○");
  unsent.dataset.count = String(n);
  unsent.classList.toggle("held", refused > 0);
});

const names = () => JSON.parse(localStorage.getItem("names") || "[]");

function choose(name) {
  const clean = name.trim().slice(0, 80);
  if (!clean) return;
  localStorage.setItem("by", clean);
  localStorage.setItem("names", JSON.stringify([clean, ...names().filter((n) => n !== clean)].slice(0, 12)));
  say(who, clean);
  dialog.close();
  who_here();
}

async function ask_who() {
  let known = names();
  const field = h("input", { class: "field", id: "who-name", autocomplete: "name", maxlength: 80 });
  const list = h("div", { class: "keys two" });
  const fill = () => list.replaceChildren(...known.map((name) => key(own(name), () => choose(name),
    { pressed: name === person() })));
  fill();
  dialog.replaceChildren(
    h("h2", { id: "who-title" }, "Who is at the bench?"), list,
    h("form", { onsubmit: (event) => { event.preventDefault(); choose(field.value); } },
      h("p", {}, h("label", { for: "who-name" }, "Another name"), field),
      h("p", { class: "keys two" }, h("button", { class: "key do" }, "That is me"),
        key("Close", () => dialog.close()))));
  dialog.showModal();
  known = await all_names();
  fill();
}

// The names of this phone and of the shop; without the shop's computer those of this phone.
async function all_names() {
  try {
    const there = await (await fetch("/api/people")).json();
    return [...new Set([...names(), ...there])].slice(0, 12);
  } catch {
    return names();
  }
}

// On the first page: who works here, with one tap, as long as this phone does not know it.
async function who_here() {
  const place = document.getElementById("who-here");
  if (!place) return;
  if (person()) { place.replaceChildren(); return; }
  const known = await all_names();
  place.replaceChildren(h("section", { class: "card", "aria-label": "Who works here" },
    h("h2", {}, "Who is working with this phone?"),
    h("div", { class: "keys two" }, known.map((name) => key(own(name), () => choose(name))),
      key("Another name", ask_who))));
}

who.addEventListener("click", ask_who);
say(who, person() || "who?");
who_here();
start();
// Over HTTPS the pages open again without a network; plain HTTP has no such worker.
if (location.protocol === "https:") navigator.serviceWorker?.register("/worker.js").catch(() => {});
