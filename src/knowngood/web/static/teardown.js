// Taking apart: one step in front, a picture of it and one key. All else may be left out.

import { fold, h, key, own } from "./dom.js";
import { kind_words } from "./apart_now.js";
import { choice, field, lines_of, stepper, text_of } from "./fields.js";
import { again } from "./rebuild.js";
import { thumbs } from "./thumbs.js";
import { record, videos } from "./video.js";

const FIRST = 5; // steps shown when nothing says which way to go
const DRIVES = ["T20", "T25", "PH2", "T15", "10 mm", "8 mm"];

export function teardown(at) {
  const { apart, memory } = at;
  const step = apart.steps.find((one) => one.id === memory.step) || own_step(at);
  const off = apart.off.filter((one) => !one.waiting).slice().reverse();
  return [
    at.back_again && again(at),
    step ? in_front(at, step) : choose(at),
    videos(at),
    off.length > 0 && h("section", { id: "off" }, h("h2", {}, `Off now (${off.length})`),
      off.map((one) => off_row(at, one))),
  ];
}

// A step that the file does not have, named on this phone and not off yet.
function own_step({ memory, apart }) {
  const mine = memory.own;
  if (!mine || apart.off.some((one) => one.id === mine.id)) return null;
  return { id: mine.id, words: mine.words, traps: [], unseen: [], caution: "", cautions: [], live: [], first: [], kinds: [], count: 0, own: true };
}

function choose(at) {
  const { apart, set, draft } = at;
  const listed = apart.steps.filter((step) => step.way);
  const way = listed.length ? listed : apart.steps.slice(0, FIRST);
  const rest = apart.steps.filter((step) => !way.includes(step));
  const row = (step) => h("li", {}, key([h("span", {}, own(step.words)),
    step.first.length > 0 && h("small", {}, `first: ${step.first.slice(0, 2).join("; ")}${step.first.length > 2 ? ` and ${step.first.length - 2} more` : ""}`)],
  () => set({ step: step.id }), { kind: "full", label: `Take off: ${step.words}` }));
  const start = () => {
    const words = text_of(draft, "own");
    if (!words) return;
    draft.own = "";
    const id = `own-${at.new_id()}`;
    set({ step: id, own: { id, words } });
  };
  const list = (steps) => h("ul", { class: "ticks" }, steps.map(row));
  return h("section", { class: "card", id: "take-off" },
    h("h2", { class: "step-words" }, "What comes off next?"),
    listed.length > 0 && h("p", { class: "soft" }, `On the way to ${apart.parts.map((p) => p.words).join(" and ")}:`), list(way),
    rest.length > 0 && fold(`Anything else (${rest.length})`, list(rest), { id: "rest" }),
    h("form", { class: "asking", onsubmit: (event) => { event.preventDefault(); start(); } },
      field(draft, "own", "A step that is not listed", { most: 200 }),
      h("button", { class: "key", id: "own-start" }, "Start it")));
}

function in_front(at, step) {
  const { set, act, photo, photos, memory } = at;
  const counts = memory.counts?.[step.id] || step.kinds.map((kind) => kind.count);
  const count_up = (n, count) => set({ counts: { [step.id]: Object.assign(counts.slice(), { [n]: count }) } });
  const done = () => {
    act("StepOpened", { step: step.id, ...(step.own ? { words: step.words } : {}) });
    const changed = step.kinds.some((kind, n) => kind.count !== counts[n]);
    const kinds = step.kinds.map((kind, n) => ({ ...kind, count: counts[n] })).filter((kind) => kind.count);
    if (changed && kinds.length) act("StepNoted", { step: step.id, fasteners: kinds });
    set({ step: "", own: null, counts: null, noting: step.own ? step.id : "" });
  };
  const wait = step.volts;
  if (wait) return measured_first(at, step, wait);
  return h("section", { class: "card", id: "step-off", "aria-label": "Take this off" },
    h("h2", { class: "step-words" }, own(step.words)),
    not_out(step, act),
    step.first.length > 0 && h("p", {}, h("b", {}, "Off first, and noted with it: "), step.first.join("; ")),
    step.cautions.map((words) => h("p", { class: "mind" }, h("b", {}, "Mind: "), words)),
    step.traps.map((trap) => h("p", { class: "trap" }, h("b", {}, "Trap: "), trap)),
    (step.unseen || []).map((one) => h("a", { class: "key", href: one.page, id: `unseen-${one.id}` },
      h("span", {}, h("b", {}, "Not seen yet: "), one.words))),
    step.kinds.map((kind, n) => stepper(`count-${n}`, kind_words({ ...kind, count: "" }).replace(/^ x /, ""), counts[n],
      (count) => count_up(n, count))),
    h("div", { class: "keys two" },
      key("Picture", () => photo(step.id, step.words), { id: "shoot", kind: "high" }),
      key(step.waiting ? "Done" : "It is off", done, { kind: "do high", id: "is-off" }),
      key("Several from the phone", () => photos(step.id, step.words)),
      key("One video", () => record(at, step.id, step.words), { id: "film" }),
      key("Another step", () => set({ step: "", own: null }))),
    thumbs(step.id, at, step.pictures));
}

const not_out = (step, act) => step.live.length > 0 && h("div", { class: "mind", id: "live-source" },
  h("b", {}, "Not out yet: "), step.live.map((one) => one.words).join("; "),
  h("p", {}, key("It is out now", () => { for (const one of step.live) act("StepOpened", { step: one.id }); }, { id: "source-out" })));

// A capacitor that stands before this step: its volts, and nothing further before it reads empty.
function measured_first(at, step, wait) {
  const { draft, act, set } = at;
  const take = () => {
    const text = text_of(draft, "volts");
    if (!text) { document.getElementById("f-volts").focus(); return; }
    draft.volts = "";
    act("CapacitorRead", { step: wait.id, text });
    set({ step: step.id });
  };
  const before = step.first.filter((words) => words !== wait.words);
  return h("section", { class: "card", id: "step-off", "aria-label": "Take this off" },
    h("h2", { class: "step-words" }, own(wait.words)),
    wait.said && h("p", { class: "charged", id: "charged", role: "alert" }, "▲ ", own(wait.said), ": bleed it, then measure again."),
    not_out(step, act),
    before.length > 0 && h("p", {}, h("b", {}, "Off first, and noted with it: "), before.join("; ")),
    step.cautions.filter((words) => words !== wait.caution).map((words) => h("p", { class: "mind" }, h("b", {}, "Mind: "), words)),
    wait.caution && h("p", { class: "mind" }, h("b", {}, "Mind: "), wait.caution),
    step.id !== wait.id && h("p", {}, h("b", {}, "Then: "), own(step.words)),
    field(draft, "volts", "Volts on the capacitor", { hint: "0.4 V", enter: take, mode: "decimal" }),
    h("div", { class: "keys two" },
      key("Picture", () => at.photo(wait.id, wait.words), { id: "shoot", kind: "high" }),
      key("Take it", take, { kind: "do high", id: "volts-read" }),
      key("Another step", () => set({ step: "", own: null }))),
    thumbs(wait.id, at));
}

function off_row(at, step) {
  const { act, photo, photos, memory, set, view, waiting } = at;
  const pictures = view.pictures.filter((one) => one.about === step.id).length
    + waiting.filter((one) => one.kind === "PictureAdded" && one.body.about === step.id).length;
  const facts = [step.count && `${step.count} ${step.count === 1 ? "fastener" : "fasteners"}`, step.where,
    pictures && `${pictures} ${pictures === 1 ? "picture" : "pictures"}`].filter(Boolean).join(", ");
  return fold([h("span", { class: "mark" }, step.pending ? "●" : "◇"), "\u00a0",
    h("span", {}, own(step.words), facts && h("span", { class: "soft" }, ` ${facts}`))], [
    thumbs(step.id, at),
    step.fasteners && h("p", {}, own(step.fasteners)),
    step.notes.map((note) => h("p", {}, own(note))),
    h("div", { class: "keys two" }, key("Picture", () => photo(step.id, step.words), { label: `Picture: ${step.words}` }),
      key("Several", () => photos(step.id, step.words), { label: `Several pictures from the phone: ${step.words}` }),
      key("Note more", () => set({ noting: memory.noting === step.id ? "" : step.id }), { label: `Note more: ${step.words}`,
        pressed: memory.noting === step.id }),
      key("It stayed on", () => act("StepClosed", { step: step.id }), { label: `It stayed on: ${step.words}` })),
    memory.noting === step.id && noting(at, step),
  ], { id: `off-${step.id}`, open: memory.noting === step.id || undefined });
}

// Everything optional about a step: fasteners, plugs, springs, routing, where it lies.
function noting(at, step) {
  const { draft, memory, set, act } = at;
  const name = (what) => `${what}-${step.id}`;
  const count = memory.alike?.[step.id]?.count ?? 0;
  const drive = memory.alike?.[step.id]?.drive ?? "";
  const alike = (more) => set({ alike: { [step.id]: { count, drive, ...more } } });
  const kind = () => ({ count, drive: text_of(draft, name("drive")) || drive, length: text_of(draft, name("length")),
    where: text_of(draft, name("cell")) });
  const keep_kinds = (before) => {
    if (!count) return;
    act("StepNoted", { step: step.id, fasteners: [...before, kind()] });
    for (const one of ["drive", "length", "cell"]) draft[name(one)] = "";
    set({ alike: null });
  };
  const keep_notes = () => {
    const body = { step: step.id, plugs: lines_of(draft, name("plugs")), small: lines_of(draft, name("small")),
      routing: text_of(draft, name("routing")), where: text_of(draft, name("where")),
      ...(memory.leads === step.id ? { leads: true } : {}) };
    if (body.plugs.length || body.small.length || body.routing || body.where || body.leads) act("StepNoted", body);
    for (const one of ["plugs", "small", "routing", "where"]) draft[name(one)] = "";
    set({ noting: "", leads: "" });
  };
  return h("div", { class: "noting" },
    h("h3", {}, "Fasteners"),
    stepper("alike", "how many", count, (n) => alike({ count: n })),
    choice("drive", DRIVES, drive, (one) => alike({ drive: one })),
    field(draft, name("drive"), "Another drive"), field(draft, name("length"), "Length"), field(draft, name("cell"), "Tray cell"),
    h("div", { class: "keys two" },
      key("All alike: keep", () => keep_kinds([]), { kind: "do", disabled: !count, id: "all-alike" }),
      key("One more kind", () => keep_kinds(step.kinds), { disabled: !count || !step.kinds.length })),
    h("h3", {}, "Everything else"),
    field(draft, name("plugs"), "Plugs and wire colours by position, one a line", { rows: 2, hint: "J1: red, black, white" }),
    field(draft, name("small"), "Springs, bushings, washers, one a line", { rows: 2 }),
    field(draft, name("routing"), "How the wires ran"),
    field(draft, name("where"), "Where it all lies"),
    h("div", { class: "keys one" },
      key("Leads that set the direction were moved", () => set({ leads: memory.leads === step.id ? "" : step.id }),
        { pressed: memory.leads === step.id }),
      key("Keep the notes", keep_notes, { kind: "do", id: "keep-notes" })));
}
