// Check-in: one page, nothing on it must be filled in. It is kept on the phone from the first sign
// on, so that a camera or a dead battery loses nothing, and it goes through the outbox as a whole.

import { fold, h, key, own, say } from "./dom.js";
import { forget, recall, remember } from "./kept.js";
import { flush, keep, new_id, on_view, unsent, watch } from "./outbox.js";
import { let_go, smaller, take_picture } from "./camera.js";
import { field, new_pack, one_of, packs, stop_card, ticks } from "./counter_parts.js";
import { customers_like, machines_like } from "./suggest.js";
import { done_card, new_cover } from "./check_in_done.js";
import { cover_of, notices_of } from "./cover_card.js";

const root = document.getElementById("counter");
const EMPTY = () => ({
  job: new_id(), words: "", customer: "", contact: "", machine: "", family: "", maker: "", model: "", serial: "",
  complaints: [], conditions: [], told: [], told_asked: false, accessories: [], packs: [new_pack()],
  unsafe: "", promised: "", purchased: "", sending: false,
});

const choices = JSON.parse(document.getElementById("inside").textContent);
let form = EMPTY();
let plate = []; // pictures of the plate, not yet in the outbox
let done = null; // the last check-in: { job, name, words, unsafe }
const NOTHING = { customers: [], before: [], complaints: [], notices: [], families: [] };
let known = NOTHING;
let cover = null; // what is said of the last check-in's cover
let trouble = "";
let interrupted = false;
let alone = false; // the shop's computer was asked and did not answer
const FRESH = 3 * 60000; // milliseconds for which a finished check-in opens again

// The machine chosen, else the kind that an unknown one is most like.
const machine = () => choices.machines.find((one) => one.id === (form.machine || form.family)) || null;
const save = () => remember("check-in", form).catch((error) => { trouble = `Not kept: ${error.message}`; show(); });

function set(more, again = true) {
  form = { ...form, ...more };
  save();
  if (again) show();
}

let asked = 0;
let asking = 0;
// What the shop's computer knows of what is typed. Without it the lists on this phone do.
function ask(given) {
  clearTimeout(asking);
  asking = setTimeout(async () => {
    const mine = asked += 1;
    try {
      const answer = await (await fetch(`/api/counter/known?${new URLSearchParams(given)}`, { cache: "no-store" })).json();
      if (mine !== asked || !answer.customers) return;
      known = { customers: given.customer_name ? answer.customers : known.customers,
        before: given.serial ? answer.before : known.before,
        notices: given.serial ? answer.notices : known.notices,
        complaints: given.words ? answer.complaints : known.complaints,
        families: answer.families?.length ? answer.families : known.families };
      fill_lists();
    } catch { /* alone */ }
  }, 200);
}

const lists = { customers: h("div", { class: "suggest", id: "customers", "aria-live": "polite" }),
  models: h("div", { class: "suggest", id: "models" }), theirs: h("div", { class: "suggest", id: "theirs" }),
  before: h("div", { id: "before", "aria-live": "polite" }), near: h("div", { id: "near" }), kinds: h("div", { id: "kinds" }) };

function pick_customer(one) {
  set({ customer: one.name, contact: one.contact || form.contact, theirs: one.machines, picked: one.name });
}

function pick_machine(one) {
  const before = one.job ? [one] : [];
  known = { ...known, before };
  set({ maker: one.maker, model: one.model, machine: one.machine, family: "", serial: one.serial || form.serial,
    complaints: one.machine === form.machine ? form.complaints : [], picked_model: one.model });
  if (form.serial) ask({ serial: form.serial, maker: form.maker, model: form.model });
  else if (form.words) ask({ machine: form.machine, words: form.words });
}

// The lists beside the fields, without touching a field that is being typed in.
function fill_lists() {
  const like = form.picked === form.customer ? [] : customers_like(form.customer, known.customers, choices.customers);
  lists.customers.replaceChildren(...like.map((one) => key([h("b", {}, own(one.name)), h("small", {},
    [one.contact, `${one.machines.length} machine${one.machines.length === 1 ? "" : "s"}`].filter(Boolean).join(", "))],
  () => pick_customer(one), { kind: "wide-key" })));
  const theirs = form.model || form.serial ? [] : form.theirs || [];
  lists.theirs.replaceChildren(...theirs.map((one) => key([h("b", {}, `${one.maker} ${one.model}`), h("small", {},
    own([one.serial, `here as ${one.number}`, one.words].filter(Boolean).join(", ")))], () => pick_machine(one), { kind: "wide-key" })));
  const models = form.picked_model === form.model ? [] : machines_like(form.model, choices.models, choices.machines);
  const unlisted = document.getElementById("unlisted");
  if (unlisted && form.model.trim().length > 2 && !models.length) unlisted.open = true;
  lists.models.replaceChildren(...models.map((one) => key([h("b", {}, `${one.maker} ${one.model}`), h("small", {},
    choices.machines.find((it) => it.id === one.machine)?.words || "no file yet")], () => pick_machine(one), { kind: "wide-key" })));
  const here = known.before.filter((one) => one.serial && same(one.serial, form.serial));
  lists.before.replaceChildren(...here.slice(0, 1).map((one) => h("p", { class: "mind" }, h("b", {}, "Was here before: "),
    own(`${one.number} of ${one.day}, ${one.words}${one.bought ? `; bought ${one.bought}` : ""}`))), ...notices_of(known.notices || []));
  lists.near.replaceChildren(...near_complaints());
  lists.kinds.replaceChildren(...kinds());
}

const FIRST_KINDS = 4;
let all_kinds = false;
// For a machine that no file names: what it is most like, by the words of the complaint first.
function kinds() {
  const with_list = choices.machines.filter((one) => one.complaints.length);
  const order = known.families.map((id) => with_list.find((one) => one.id === id)).filter(Boolean);
  const listed = [...order, ...with_list.filter((one) => !order.includes(one))];
  const chosen = listed.find((one) => one.id === form.family);
  const shown = all_kinds ? listed : listed.slice(0, FIRST_KINDS);
  if (chosen && !shown.includes(chosen)) shown.push(chosen);
  return [ticks(shown.map((one) => one.id), form.family ? [form.family] : [],
    (now) => set({ family: now.find((id) => id !== form.family) || "", complaints: [], told: [] }), (id) => listed.find((one) => one.id === id).words),
  !all_kinds && listed.length > shown.length && key(`All ${listed.length} kinds`, () => { all_kinds = true; fill_lists(); }, { id: "all-kinds" })].filter(Boolean);
}

const same = (one, other) => plain(one) === plain(other) && plain(one) !== "";
const plain = (text) => text.toLowerCase().replace(/[^a-z0-9]/g, "");

// The listed complaints, those that share words with the customer's first.
function near_complaints() {
  const it = machine();
  if (!it) return [h("p", { class: "soft" }, "With a machine or its kind chosen, the listed complaints stand here.")];
  const close = known.complaints.filter((id) => it.complaints.some((one) => one.id === id));
  const ids = [...close, ...it.complaints.map((one) => one.id).filter((id) => !close.includes(id))];
  const words = (id) => it.complaints.find((one) => one.id === id).words;
  return [h("p", {}, form.complaints.length ? "" : close.length ? "Closest listed complaint first:" : "Which of these comes closest?"),
    ticks(ids, form.complaints, (complaints) => set({ complaints }), words)];
}

// A day after today, by this phone's own calendar.
function to_come(day) {
  const now = new Date();
  return day > new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
}

async function check_in() {
  if (form.sending) return;
  if (to_come(form.purchased)) {
    show();
    document.getElementById("purchased")?.focus();
    return;
  }
  form.sending = true;
  await save();
  await finish();
}

// Into the outbox, each thing once, also when the page went away in between.
async function finish() {
  try {
    const there = (await unsent(form.job)).some((one) => one.kind === "JobOpened");
    if (!there && !form.opened) {
      await keep({ job: form.job, kind: "JobOpened", body: body_of(form) });
    }
    form.opened = true;
    await save();
    while (plate.length) {
      await keep({ job: form.job, kind: "PictureAdded", body: { about: "plate", caption: "The plate" }, ...plate[0] });
      plate = plate.slice(1);
      await remember("check-in-plate", plate);
    }
    done = { job: form.job, number: "", words: [`${form.maker} ${form.model}`.trim(), form.customer].filter(Boolean).join(", "),
      unsafe: form.unsafe === "yes" || form.packs.some((one) => one.trouble.length), bench: true, at: Date.now() };
    await remember("checked-in", done);
    await forget("check-in");
    form = EMPTY();
    known = NOTHING;
    cover = null;
    trouble = "";
  } catch (error) {
    form.sending = false;
    trouble = `Not kept: ${error.message}`;
  }
  show();
  scrollTo({ top: 0 });
}

function body_of(it) {
  const used = it.packs.filter((one) => one.serial.trim() || one.words || one.trouble.length);
  return {
    words: it.words, customer: it.customer, contact: it.contact, machine: it.machine, family: it.machine ? "" : it.family, maker: it.maker,
    model: it.model, serial: it.serial, complaint: it.complaints[0] || "", also: it.complaints.slice(1),
    conditions: it.conditions, told: it.told, told_asked: it.told_asked, accessories: it.accessories,
    packs: used, unsafe_asked: it.unsafe !== "", unsafe: it.unsafe === "yes", promised: it.promised, purchased: it.purchased, meter: localStorage.getItem("meter") || "",
  };
}

function photo() {
  take_picture({ job: form.job, about: "plate", caption: "The plate", based_on: null,
    into: async (files) => {
      for (const file of files) plate.push({ ...(await smaller(file)), name: file.name || "plate" });
      await remember("check-in-plate", plate);
      interrupted = false;
    },
    done: show, failed: (error) => { trouble = `The picture was not kept: ${error.message}`; show(); } });
}

function start_again() {
  form = EMPTY();
  plate = [];
  forget("check-in");
  forget("check-in-plate");
  show();
  scrollTo({ top: 0 });
}

function show() {
  if (done) {
    root.replaceChildren(done_card(done, () => { done = null; forget("checked-in"); show(); document.getElementById("customer")?.focus(); }, cover, show, alone));
    return;
  }
  const focused = document.activeElement?.id;
  const typed_at = document.activeElement?.selectionStart;
  const opened = new Set([...root.querySelectorAll("details[open]")].map((one) => one.id));
  const it = machine();
  const unsafe = form.unsafe === "yes" || form.packs.some((one) => one.trouble.length);
  fill_lists();
  root.replaceChildren(...[
    h("h1", {}, "Check in"),
    trouble && h("p", { class: "card loud", role: "alert" }, trouble),
    interrupted && h("p", { class: "card mind" }, "The phone put this page away while the plate was photographed. Everything typed is here; take the picture once more if it is not below."),
    h("section", { class: "card", "aria-label": "Whose machine" }, h("h2", {}, "Whose is it?"),
      field("Customer", form.customer, (customer) => { set({ customer }, false); fill_lists(); ask({ customer_name: customer }); }, { id: "customer" }),
      lists.customers, lists.theirs,
      field("Phone or mail", form.contact, (contact) => set({ contact }, false), { id: "contact" })),
    h("section", { class: "card", "aria-label": "Which machine" }, h("h2", {}, "Which machine?"),
      field("Model, as on the plate", form.model, (model) => { set({ model, machine: "" }, false); fill_lists(); }, { id: "model" }),
      lists.models,
      form.machine && it ? h("p", { class: "soft" }, `${form.maker}, ${it.words}`)
        : fold(`Not in the list? ${form.family && it ? `Like the ${it.words}` : "Its maker, and what it is most like"}`, [
          field("Maker, as on the plate", form.maker, (maker) => set({ maker }, false), { id: "maker" }),
          h("p", {}, "Which kind is it most like? It may stay open."), lists.kinds], { id: "unlisted", open: opened.has("unlisted") || Boolean(form.family) }),
      field("Serial", form.serial, (serial) => { set({ serial }, false); fill_lists(); ask({ serial, maker: form.maker, model: form.model }); }, { id: "serial" }),
      lists.before,
      (to_come(form.purchased) || (choices.makers_with_programmes.includes(form.maker) && !known.before.some((one) => one.bought && same(one.serial, form.serial))))
        && field("Bought on, as the receipt says", form.purchased, (purchased) => set({ purchased }, false), { id: "purchased", type: "date", note: form.maker ? `For ${form.maker}'s warranty; it may stay empty.` : "It may stay empty." }),
      to_come(form.purchased) && h("p", { class: "card loud", id: "to-come", role: "alert" }, `Bought on ${form.purchased} is still to come: mend the day, or leave it empty.`),
      h("p", { class: "inline" }, key(plate.length ? `✓ ${plate.length} of the plate, one more` : "Picture of the plate", photo, { id: "plate" }))),
    h("section", { class: "card", "aria-label": "What is wrong" }, h("h2", {}, "What is wrong?"),
      field("In the customer's own words", form.words, (words) => { set({ words }, false); ask({ machine: form.machine || form.family, model: `${form.maker} ${form.model}`, words }); },
        { of: "textarea", id: "words", rows: 3, maxlength: 4000 }),
      lists.near,
      fold(`When does it happen?${form.conditions.length ? ` ${form.conditions.join(", ")}` : ""}`,
        ticks(choices.conditions, form.conditions, (conditions) => set({ conditions })), { id: "when", open: opened.has("when") }),
      it && fold(`What did the customer try?${form.told.length ? ` ${form.told.length} ticked` : form.told_asked ? " nothing of these" : ""}`, [
        ticks(it.told.map((one) => one.id), form.told, (told) => set({ told, told_asked: true }), (id) => it.told.find((one) => one.id === id).words),
        key("Nothing of these", () => set({ told: [], told_asked: true }), { pressed: form.told_asked && !form.told.length })],
      { id: "tried", open: opened.has("tried") })),
    h("section", { class: "card", "aria-label": "Packs and what came along" }, h("h2", {}, "Packs, and what came along"),
      packs(form.packs, choices.troubles, form.unsafe === "yes", (list, again) => set({ packs: list }, again)),
      h("fieldset", { id: "unsafe" }, h("legend", {}, "Is a pack swollen, hot, leaking, wet, or was one dropped?"),
        one_of(["no", "yes"], form.unsafe, (answer) => set({ unsafe: answer,
          packs: answer === "no" ? form.packs.map((one) => ({ ...one, trouble: [] })) : form.packs.length ? form.packs : [new_pack()] }),
        (name) => (name === "no" ? "No" : "Yes"))),
      unsafe && stop_card(),
      h("fieldset", { id: "came" }, h("legend", {}, "Came along"), ticks(choices.accessories, form.accessories, (accessories) => set({ accessories })))),
    h("section", { class: "card", "aria-label": "Terms" }, h("h2", {}, "Terms"),
      choices.shop.fee || choices.shop.storage
        ? [h("p", {}, own(choices.shop.fee)), h("p", {}, own(choices.shop.storage))]
        : h("p", {}, "No fee or storage terms are set. ", h("a", { href: "/shop" }, "Set them"), "."),
      field("Promised for", form.promised, (promised) => set({ promised }, false), { id: "promised", note: "A day or a date; it may stay empty." }),
      key("Empty the form", start_again, { id: "empty" })),
    h("div", { class: "bottom" }, key("Check in", check_in, { kind: "do", id: "check-in" })),
  ].filter((one) => one instanceof Node));
  if (focused) {
    const field_there = document.getElementById(focused);
    field_there?.focus({ preventScroll: true });
    if (typed_at !== undefined && typed_at !== null) field_there?.setSelectionRange?.(typed_at, typed_at);
  }
}

async function ask_cover() {
  const job = done?.job;
  const said = job && done.number ? await cover_of(job).catch(() => null) : null;
  if (!said || done?.job !== job) return;
  cover = said;
  new_cover(cover, show);
}

on_view((fresh) => {
  if (!done || fresh.id !== done.job || !fresh.number) return;
  if (done.number === fresh.number) { ask_cover(); return; }
  done = { ...done, number: fresh.number };
  remember("checked-in", done).catch(() => {});
  show();
  ask_cover();
}, { small: true });

async function begin() {
  const [was, pictures, last, camera] = await Promise.all(["check-in", "check-in-plate", "checked-in", "camera"].map(recall)).catch(() => []);
  if (was) form = { ...EMPTY(), ...was };
  plate = pictures || [];
  interrupted = Boolean(was && camera && camera.job === was.job);
  if (interrupted) let_go();
  const anew = location.hash === "#new"; // "Check in" was tapped: a form, not the last receipt
  if (anew) history.replaceState(null, "", location.pathname);
  if (last && !was && !anew && (!last.number || Date.now() - (last.at || 0) < FRESH)) done = last;
  else if (last && (last.number || !anew)) forget("checked-in").catch(() => {});
  if (form.sending) await finish();
  show();
  ask_cover();
  if (done && !done.number) {
    fetch(`/api/jobs/${done.job}/counter`).then((answer) => answer.json()).then((it) => {
      if (it.number) { done = { ...done, number: it.number }; show(); ask_cover(); }
    }).catch(() => {});
  }
  watch(async (state) => {
    if (alone === state.reached) { alone = !state.reached; if (done && !done.number) show(); }
    const held = done && (await unsent(done.job)).find((one) => one.state === "refused");
    const place = document.getElementById("refused");
    if (place) say(place, held ? `▲ refused, still on this phone: ${held.message}` : "");
    if (place) place.hidden = !held;
  });
  flush();
  root.dataset.ready = "yes";
}

begin();
