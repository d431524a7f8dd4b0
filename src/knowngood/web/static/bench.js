// The bench: one job on one screen. The server judges; this page keeps, shows, and asks again.

import { fold, h, key, say } from "./dom.js";
import { recall, remember } from "./kept.js";
import { flush, job_from_server, keep, new_id, on_view, tell_viewers, unsent, watch } from "./outbox.js";
import { said_card, step_card, step_more, why_list } from "./bench_step.js";
import { bring_in_sight, keypad, room_for } from "./keypad.js";
import { file_card, hazard_card, look_list, others, pictures, readings, standing, strip, told } from "./bench_lists.js";
import { decided_card, held_card, proven_card, stop_card } from "./bench_end.js";
import { charged_again, held_here, readings_here, said_here, step_of, undo_here, volts_here, walk } from "./offline.js";
import { interrupted, keep_buffer, let_go, take_picture } from "./camera.js";
import { call_it, choose_meter, note_form } from "./bench_asks.js";
import { details } from "./details.js";
import { draft, make_places, mode_keys, place_of } from "./modes.js";
import { make_slots } from "./slots.js";
import { make_swap } from "./bench_swap.js";
import { load_wiring, numbers_of, show_wiring } from "./wiring.js";

const root = document.getElementById("bench");
const ASKING = 1500; // milliseconds after which the plan on the phone goes on
const FRESH = 5000;

let view = JSON.parse(document.getElementById("inside").textContent);
const job = view.id;
let plan = null;
let waiting = []; // entries of this job that the server has not judged
let chosen = ""; // a step taken out of order
let typed = "";
let marked = {};
let looks = ""; // the first look: "" not yet, "later", "again" when asked for
let live_yes = "";
let provisional = false;
let interrupted_by_camera = null;
let trouble = "";
let asking = 0;
let locked = 0;
let mode = "measure"; // or "apart", "rebuild", "release": all on this one page
let memory = {}; // what was chosen there

const { at: slots, fill: slot } = make_slots(["notice", "strip", "modes", "place", "said", "swap", "ahead", "entry", "below"]);
root.replaceChildren(...Object.values(slots));

let saving = 0;
const do_it = async (kind, body) => {
  saving += 1;
  rest();

  try {
    await keep({ job, kind, body, based_on: view.seq });
    trouble = "";
  } catch (error) {
    trouble = `Not kept: ${error.message}`;
  }
  saving -= 1;
  await after_entry();
};

async function after_entry() {
  waiting = await unsent(job).catch(() => waiting);
  clearTimeout(asking);
  provisional = provisional && waiting.length > 0;
  if (waiting.some(judged_later)) {
    asking = setTimeout(() => { provisional = waiting.some(judged_later); show(); }, provisional ? 0 : ASKING);
  }
  show();
}

// Not yet with the server, and it may change the advice.
const judged_later = (one) => one.state === "waiting" && !QUIET.has(one.kind);
const QUIET = new Set(["PictureAdded", "NoteAdded", "StepNoted", "LineTicked", "LineUnticked", "PartInHand", "PartTagged", "PartFitted",
  "MinutesMended", "StepTaught", "VideoAdded", "ReleaseChecked", "HoldOverridden", "DetailsNoted"]);

// The step in front: what was chosen, else what is next; offline what the plan on the phone says.
function step_now() {
  const picked = chosen && [view.step, ...view.others].find((step) => step?.id === chosen);
  if (provisional && !picked) {
    const found = walk(plan, view.meter?.name || "", since_plan());
    if (!found.node) return { waits: found.waits };
    const step = step_of(found.node, plan);
    return step ? { step: charged_first(step, step.discharge) } : { end: found.node };
  }
  const step = picked || view.step;
  const held = picked ? held_here(picked.id, view, waiting, hazards_now()) : "";
  return { step: charged_first(step, step?.discharge || (step && charged_again(step, view, waiting))), held, picked: Boolean(picked) && (provisional || picked !== view.step) };
}

// A capacitor on the way to a step is measured before it, and again until it reads empty.
function charged_first(step, wait) {
  if (!wait) return step;
  const { empty, said } = volts_here(wait, waiting);
  return empty ? step : { ...wait, said: said || wait.said, then: step.question };
}

// Readings that the plan on this phone has not seen, those taken back left out.
function since_plan() {
  if (plan && plan.seq !== view.seq) return [{ test: "", text: "" }];
  const measured = (one) => one.kind === "StepClosed" && plan?.volts?.some((face) => face.id === one.body.step);
  if (waiting.some((one) => !HARMLESS.has(one.kind) && !measured(one))) return [{ test: "", text: "" }];
  return readings_here(waiting);
}
const HARMLESS = new Set(["CapacitorRead", "ReadingTaken", "ReadingsTaken", "ReadingWithdrawn", ...QUIET]);

function take(test, text, kind = "test") {
  if (Date.now() < locked) return;
  locked = Date.now() + 350; // a second touch of the same key is no second reading
  typed = "";
  if (kind === "volts") { keep_place(); do_it("CapacitorRead", { step: test, text }); return; } // what was chosen waits for it
  chosen = "";
  keep_place();
  do_it("ReadingTaken", { reading_id: new_id(), test, text });
}

// What was asked once more holds for what stood on the screen then: never for another page, another
// part, or an answer that was taken back since.
const not_sure = () => { memory = { ...memory, sure: null }; };
const keep_place = () => remember(`at:${job}`, { chosen, typed, looks, marked, mode, memory }).catch(() => {});

// What Undo sends: it takes back what waits on this phone, else what the server has last.
function undo_of() {
  if (!waiting.length) return view.undo;
  return undo_here(waiting, view.volts || []);
}
const undo = () => { const back = undo_of(); return back ? do_it(back.kind, back.body) : undefined; };

function photo(about, caption) {
  take_picture({ job, about, caption, based_on: view.seq, done: after_entry,
    failed: (error) => { trouble = `The picture was not kept: ${error.message}`; show(); } });
}

function photo_from_phone(about = "", caption = "") {
  take_picture({ job, about, caption, based_on: view.seq, camera: false, done: after_entry,
    failed: (error) => { trouble = `The picture was not kept: ${error.message}`; show(); } });
}

const places = make_places({
  now: () => ({ view, waiting, memory }), show: () => show(), do_it: (kind, body) => do_it(kind, body), photo,
  photos: photo_from_phone,
  go: (name) => {
    mode = name;
    not_sure();
    history.replaceState(null, "", name === "measure" ? location.pathname : `#${name}`);
    keep_place();
    show();
    scrollTo({ top: 0 });
  },
  remember: (more) => { memory = { ...memory, ...more }; keep_place(); show(); },
  keep_marked: async (about, caption, picture) => {
    await keep_buffer(picture, { job, about, caption: `marked: ${caption}`, based_on: view.seq });
    await after_entry();
  },
});

async function why(test) {
  const here = document.getElementById("why-here");
  try {
    const said = await (await fetch(`/api/jobs/${job}/why/${test}`)).json();
    here.replaceChildren(why_list(said.outcomes));
  } catch {
    say(here, "The figures are on the shop's computer, which is not reached now.");
  }
}

function keep_looks() {
  const found = view.looks.filter((one) => marked[one.id] !== "skip").map((one) => ({
    reading_id: new_id(), test: one.id,
    text: marked[one.id] === "bad" ? (one.good === "yes" ? "no" : "yes") : one.good,
  }));
  looks = "later";
  marked = {};
  keep_place();
  if (found.length) do_it("ReadingsTaken", { readings: found });
  else show();
}

function pending_words() {
  const last = said_here(waiting);
  if (!last) return "";
  if (last.kind === "CapacitorRead") return `${last.body.text} on the capacitor`;
  if (last.kind === "ReadingsTaken") return `${last.body.readings.length} looks`;
  const face = plan?.tests[last.body.test] || [view.step, ...view.others].find((step) => step?.id === last.body.test);
  return `${last.body.text}${face?.question ? ` (${face.question})` : ""}`;
}

// While the server is asked, at most ASKING long, the keys rest: a tap would be for the old step.
function rest() {
  const asked = saving > 0 || (!provisional && waiting.some(judged_later));
  slots.entry.inert = slots.ahead.inert = asked;
  root.dataset.asking = asked ? "yes" : "";
}

function show() {
  const at = step_now();
  const refused = waiting.filter((one) => one.state === "refused");
  rest();
  slot("notice", [trouble, refused.map((one) => [one.n, one.message]), interrupted_by_camera, view.closed, view.file], () => [
    trouble && h("p", { class: "card loud", role: "alert" }, trouble),
    view.closed && h("p", { class: "card", id: "closed" }, `This job is closed: ${view.closed}. `,
      h("a", { class: "key", href: `/job/${job}/papers`, id: "to-money" }, "Money and papers"), " ",
      h("a", { class: "key", href: `/job/${job}/pickup`, id: "to-pickup" }, "Pickup")),
    view.file && file_card(view.file, (take) => do_it("NewerFile", { take })),
    refused.map((one) => h("p", { class: "card loud", role: "alert" },
      h("span", { class: "mark" }, "▲ refused, still on this phone: "), one.message, " ",
      h("a", { href: "/phone", class: "key" }, "This phone's queue"))),
    interrupted_by_camera && h("section", { class: "card mind", id: "again" },
      h("p", {}, `The phone put this page away while a picture was taken${interrupted_by_camera.caption ? ` (${interrupted_by_camera.caption})` : ""}. If it is not below, take it once more.`),
      h("div", { class: "inline" },
        key("Take it again", () => { const was = interrupted_by_camera; interrupted_by_camera = null; show(); photo(was.about, was.caption); }, { kind: "do" }),
        key("Not needed", () => { interrupted_by_camera = null; let_go(); show(); })))]);
  slot("strip", [view.head, view.left_words, view.known_good.length, view.look_at_this, view.name, view.state, mode], () => strip(view, mode));
  const there = places.at();
  slot("modes", [mode, there.apart], () => mode_keys(mode, there.apart, places_go));
  const measuring = mode === "measure";
  for (const name of ["said", "swap", "ahead", "entry", "below"]) slots[name].hidden = !measuring;
  slot("place", measuring ? null : [mode, memory, there.apart, view.pictures, view.closed, view.causes.open, waiting.map((one) => one.n), there.back_again],
    () => (measuring ? null : places.shows(mode)(there)));
  if (!measuring) { places.in_sight(); return; }
  show_said();
  show_ahead(at);
  slot("below", [view, waiting.filter((one) => one.picture).length, listed().map((step) => [step.id, held_now(step)])], () => below());
}

const places_go = (name) => places.at().go(name);

function show_said() {
  const last = view.readings.filter((one) => one.live).at(-1);
  const pending = pending_words();
  slot("said", [last, pending, undo_of(), view.undo, view.decision !== null], () => (view.decision && !pending ? null : said_card(!pending && view.undo?.kind === "StepClosed" ? null : last, {
    pending, undo: undo_of() && undo, undo_words: pending || view.undo?.words })));
}

// What must be left alone: as the shop's computer says, and by what waits on this phone.
function hazards_now() {
  const here = readings_here(waiting);
  const known = new Set(view.hazards.map((one) => one.part));
  return [...view.hazards, ...view.hazard_looks.filter((look) => !known.has(look.part)
    && here.some((one) => one.test === look.test && one.text.startsWith(look.bad)))];
}

// Steps to choose from: also the one in front, where the advice waits or is the phone's own.
const listed = () => (provisional && view.step ? [view.step, ...view.others] : view.others);
const held_now = (step) => held_here(step.id, view, waiting, hazards_now());

let in_front = "";
let fit_pad = () => {};
addEventListener("resize", () => fit_pad());
const swap = make_swap();

function show_ahead(at) {
  const fresh = !looks && !view.readings.length && !waiting.length && !view.called.length && !chosen;
  const first = view.looks.length > 0 && (looks === "again" || (fresh && !view.proof.proven));
  const over = view.decision !== null && !provisional && !at.picked;
  const proven = view.proof.proven && !provisional && !at.picked;
  const step = ["test", "volts"].includes(at.step?.kind) && !at.held && !first && !over && !proven ? at.step : null;
  const live = step?.live_open && live_yes !== step.id;
  slot("ahead", [at, first, marked, over, proven, live, view.proof, view.decision, view.causes, memory.sure, view.looks, hazards_now(), numbers_of(step?.probe)], () => {
    return [hazards_now().map(hazard_card), ahead_card()];
  });
  function ahead_card() {
    if (over) return decided_card(view, { answer, undo, go: places_go, decide: () => do_it("PartDecided", { part: view.decision.part }), sure: memory.sure, ask: (sure) => places.at().set({ sure }) });
    if (proven) return proven_card(view, { decide: () => do_it("PartDecided", { part: view.proof.parts[0] }), photo: () => photo("meter", `proof: ${view.proof.words}`) });
    if (first) {
      return look_list(view, marked, { keep: keep_looks,
        mark: (id, said) => { marked = { ...marked, [id]: marked[id] === said ? "" : said }; keep_place(); show(); },
        later: () => { looks = "later"; keep_place(); show(); } });
    }
    if (at.waits) return waits_card(at.waits);
    if (at.end) return end_card(at.end);
    if (at.held) return held_card(at.step, at.held, () => { chosen = ""; keep_place(); show(); });
    if (!step) return stop_card(view, at.step);
    return step_card(step, { provisional, chosen: at.picked, numbers: numbers_of(step.probe)[0], back: () => { chosen = ""; keep_place(); show(); },
      yes_to_live: live ? () => { live_yes = step.id; do_it("NoteAdded", { text: `Said yes to live work: ${step.question}` }); } : null });
  }
  const answers = [view.readings.filter((one) => one.live).length, view.volts_read, waiting.length, view.called.length].join();
  const was = provisional || !waiting.some(judged_later) ? swap.note(step, answers, Boolean(at.picked)) : null;
  slot("swap", [was, step?.id], () => (was ? swap.line(view.others, (id) => { chosen = id; typed = ""; keep_place(); show(); }) : null));
  const front = step ? step.id : over ? "over" : proven ? "proven" : first ? "first" : "none";
  if (front !== in_front) bring_in_sight(slots.ahead, slots.entry, slots.said, Boolean(in_front));
  in_front = front;
  slot("entry", [step && !live ? [step.id, step.keys, step.as_expected, step.same, step.good, step.said, provisional] : null], () => {
    fit_pad = () => {};
    if (!step || live) return null;
    const { line, pad, fit } = keypad(step, typed, { take: (text) => take(step.id, text, step.kind),
      changed: (text) => { typed = text; keep_place(); } });
    fit_pad = () => fit(room_for(slots.ahead, line, pad));
    const meter = step.grade === "measured";
    return [line, pad, step_more({ why: provisional || step.kind === "volts" ? null : () => why(step.id), wiring: view.wired && step.probe?.length ? () => show_wiring(job, step) : null,
      known: step.known, unseen: step.unseen, words: meter ? "Picture of the meter" : "Picture of it",
      photo: () => photo(meter ? "meter" : step.id, step.question) })];
  });
  fit_pad();
}

const answer = (cause, said) => do_it("CauseAnswered", { cause: cause.id, answer: said });

// Any other step, while there is no advice: the list below, so that each is asked as it always is.
const waits_card = (words) => h("section", { class: "card", id: "waits" },
  h("h2", { class: "step-words" }, "Kept. Advice waits."),
  h("p", {}, words), h("p", {}, "Go on reading in any order; it is judged when the shop's computer is reached."),
  listed().length > 0 && h("div", { class: "keys one" }, key("Other steps", () => {
    const list = document.getElementById("others");
    list.open = true;
    list.scrollIntoView({ block: "start" });
  }, { id: "free" })));

const end_card = (node) => h("section", { class: "card", id: "end" },
  h("p", { class: "mark" }, "◌ provisional: from the plan on this phone"),
  h("h2", { class: "step-words" }, node.unsafe ? `▲ ${node.unsafe}` : node.stop.length ? `Points to ${node.words}` : "No listed part"),
  h("p", {}, "The proof is worked out when the shop's computer is reached. Order nothing before."));

function below() {
  return [
    h("div", { class: "keys two", id: "own" }, key("I call it", () => call_it(view, do_it), { id: "call" }),
      key(view.meter ? `Meter: ${view.meter.name}` : "No meter chosen", () => choose_meter(view, do_it), { id: "meter", label: view.meter ? `Meter: ${view.meter.title}` : undefined }),
      view.looks.length && !view.decision
        ? key(`First look (${view.looks.length} left)`, () => { looks = "again"; show(); slots.ahead.scrollIntoView({ block: "start" }); }, { id: "looks-again" }) : null,
      view.decision || view.proof.proven ? null : h("a", { class: "key", href: `/job/${view.id}/card.pdf`, id: "card" }, "The plan on paper")),
    view.called.map((one) => h("p", {}, h("span", { class: "mark" }, "► called: "), one.words, ` by ${one.by}. ${view.proof.proven ? "" : view.proof.missing}`)),
    others({ ...view, others: listed() }, (id) => { document.getElementById("others").open = false; chosen = id; typed = ""; keep_place(); show(); slots.ahead.scrollIntoView({ block: "start" }); },
    (step) => do_it("PartDecided", { part: step.id.split("+")[0] }), held_now),
    told(view, { told_one: (one) => do_it("ToldNoted", { told_id: one.id }), nothing: () => do_it("ToldNoted", { nothing: true }) }),
    standing(view, { accept: (part) => do_it("Accepted", { part: part.id }), call: (part) => do_it("PartCalled", { part: part.id }) }),
    readings(view, { withdraw: (one) => do_it("ReadingWithdrawn", { reading_id: one.id, reason: "taken back" }),
      again: (test) => { chosen = test; show(); } }),
    pictures(view, waiting.filter((one) => one.picture).length, {
      take: () => photo("", ""), choose: () => photo_from_phone(), at: places.at() }),
    note_form(do_it), details(places.at()),
  ];
}

on_view(async (fresh) => {
  if (fresh.id !== job || fresh.seq < view.seq) return;
  const changed = fresh.seq !== view.seq;
  view = fresh;
  if (changed) not_sure();
  waiting = await unsent(job).catch(() => waiting);
  if (!waiting.some(judged_later)) {
    clearTimeout(asking);
    provisional = false;
  }
  show();
  remember(`view:${job}`, view).catch(() => {});
  if (changed || !plan) ask_plan();
});

let plan_timer = 0;
function ask_plan() {
  clearTimeout(plan_timer);
  plan_timer = setTimeout(async () => {
    try {
      const fresh = await (await fetch(`/api/jobs/${job}/plan`, { cache: "no-store" })).json();
      if (!fresh.policy) return;
      plan = fresh;
      await remember(`plan:${job}`, plan);
    } catch { /* the one that is here does */ }
  }, 700);
}

async function freshen() {
  if (document.hidden || waiting.length) return;
  try {
    const fresh = await job_from_server(job, view.seq);
    if (fresh) tell_viewers(fresh);
  } catch { /* the outbox says that there is no contact */ }
}

// A keyboard of metal: digits go to the reading wherever the focus is.
document.addEventListener("keydown", (event) => {
  const field = document.getElementById("reading");
  if (!field || root.dataset.asking || event.ctrlKey || event.altKey || event.metaKey || document.querySelector("dialog[open]")) return;
  if (/^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName) || !/^[0-9.,<>-]$/.test(event.key)) return;
  event.preventDefault();
  field.focus();
  field.value += event.key;
  field.dispatchEvent(new Event("input"));
});

async function begin() {
  const [was, kept_view, kept_plan] = await Promise.all([recall(`at:${job}`), recall(`view:${job}`), recall(`plan:${job}`)]).catch(() => []);
  if (kept_view && kept_view.seq > view.seq) view = kept_view;
  if (was) ({ chosen, typed, looks, marked, mode = "measure", memory = {} } = was);
  not_sure();
  mode = place_of(location.hash.slice(1)) || mode;
  plan = kept_plan || null;
  waiting = await unsent(job).catch(() => []);
  interrupted_by_camera = await interrupted(job).catch(() => null);
  await remember(`view:${job}`, view).catch(() => {});
  watch(() => { unsent(job).then((now) => { const other = now.length !== waiting.length; waiting = now; if (other || now.length) show(); }).catch(() => {}); });
  await after_entry();
  if (!plan || plan.seq !== view.seq) ask_plan();
  setInterval(freshen, FRESH);
  document.addEventListener("visibilitychange", freshen);
  flush();
  if (view.wired) load_wiring(job, view.seq).then(show);
  addEventListener("hashchange", () => { mode = place_of(location.hash.slice(1)) || mode; not_sure(); show(); });
  root.dataset.ready = "yes";
}

show();
begin();
