// The bar of every page: what is unsent, and who works here.

import { h, key, own, say } from "./dom.js";
import { person, start, watch } from "./outbox.js";

const unsent = document.getElementById("unsent");
const words = document.getElementById("unsent-words");
const who = document.getElementById("who");
const dialog = document.getElementById("who-dialog");

watch(({ unsent: n, refused, reached }) => {
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
  try {
    const there = await (await fetch("/api/people")).json();
    known = [...new Set([...known, ...there])].slice(0, 12);
    fill();
  } catch { /* the names of this phone do */ }
}

who.addEventListener("click", ask_who);
say(who, person() || "who?");
start();
