// Teardown, rebuild and release with what this phone has entered and not sent yet. Nothing is
// judged here: a line is done because a person said so.

import { volts_here } from "./offline.js";

// The `apart` of a job as it is once these entries have arrived.
export function with_waiting(apart, waiting) {
  const it = JSON.parse(JSON.stringify(apart));
  for (const one of waiting) {
    if (one.state === "waiting") ENTRIES[one.kind]?.(it, one.body, one);
  }
  it.lines.forEach((line) => { if (line.kind === "count") line.done &&= !it.count.said.length; });
  return it;
}

const ENTRIES = {
  StepOpened(it, body, one) {
    const found = it.steps.find((step) => step.id === body.step);
    for (const id of [...(found?.first_ids || []), body.step]) came_off(it, id, body, one);
    for (const step of it.steps) {
      step.first_ids = step.first_ids.filter((id) => !it.off.some((off) => off.id === id));
      step.live = step.live.filter((one) => !it.off.some((off) => off.id === one.id));
    }
  },
  CapacitorRead(it, body, one) {
    const wait = it.steps.find((step) => step.volts?.id === body.step)?.volts;
    if (!wait) return;
    const { empty, said } = volts_here(wait, [one]);
    if (empty) ENTRIES.StepOpened(it, { step: body.step }, one);
    for (const step of it.steps) if (step.volts?.id === body.step) step.volts = empty ? null : { ...step.volts, said };
  },
  StepClosed(it, body) {
    const rests = it.off.filter((off) => off.waiting && off.needs?.includes(body.step));
    for (const id of [body.step, ...rests.map((off) => off.id)]) back_on(it, id);
    mark(it, `back:${body.step}`, true);
    const uneven = body.over || (body.back ?? null) !== null && body.back !== line_of(it, `back:${body.step}`)?.count;
    if (uneven) it.count.said.push(`${body.back} went in, ${body.over || 0} left over`);
  },
  StepNoted(it, body) {
    const step = it.off.find((one) => one.id === body.step);
    if (!step) return;
    if (body.fasteners?.length) {
      step.kinds = body.fasteners;
      step.count = body.fasteners.reduce((sum, kind) => sum + kind.count, 0);
      step.fasteners = body.fasteners.map(kind_words).join("; ");
    }
    for (const name of ["plugs", "small"]) if (body[name]?.length) step[name] = body[name];
    for (const name of ["routing", "where"]) if (body[name]) step[name] = body[name];
    step.notes = [...step.plugs, ...step.small, step.routing].filter(Boolean);
    step.leads ||= Boolean(body.leads);
  },
  LineTicked(it, body) { mark(it, body.line, body.result !== "not good", body.result === "not good", body.text); },
  LineUnticked(it, body) { mark(it, body.line, false); },
  CauseAnswered(it, body) {
    if (body.answer === "yes") return;
    it.lines = it.lines.filter((line) => line.id !== `cause:${body.cause}`);
  },
  PartFitted(it, body) { mark(it, `fit:${body.part}`, true); },
  PartInHand(it, body) {
    mark(it, `part:${body.part}`, body.verdict === "right", body.verdict === "wrong", body.reason);
  },
  PartTagged(it, body) {
    const part = it.parts.find((one) => one.id === body.part);
    if (part) part.tag = body;
    mark(it, `tag:${body.part}`, true, false, [body.tag, body.where, body.tested].filter(Boolean).join(", "));
  },
  ReleaseChecked(it, body) {
    const check = it.release.checks.find((one) => one.id === body.check);
    if (check) Object.assign(check, { result: body.result, reason: body.reason || "", stale: "", pending: true });
  },
  MinutesMended(it, body) {
    const row = it.minutes.find((one) => one.what === body.what);
    if (row) Object.assign(row, { minutes: body.minutes, how: "put right here" });
  },
};

function came_off(it, id, body, one) {
  if (it.off.some((step) => step.id === id)) return;
  const step = it.steps.find((known) => known.id === id) || { words: body.words || id, kinds: [],
    count: 0, fasteners: "", traps: [], caution: "" };
  it.steps = it.steps.filter((known) => known.id !== id);
  it.off.push({ ...step, id, notes: [], plugs: [], small: [], routing: "", leads: false,
    where: id === body.step ? body.where || "" : "", by: one.by, at: one.device_time, pending: true });
  if (step.waiting) return;
  const first = it.lines.findIndex((line) => line.kind === "back" && !line.done);
  const line = { id: `back:${id}`, kind: "back", about: id, words: step.back || `Put back as it was: ${step.words}`, hints: step.traps,
    caution: step.caution, fasteners: step.fasteners, count: step.count, where: "", inside: [],
    done: false, wrong: false, said: "", by: "", at: "", pending: true };
  it.lines = it.lines.filter((known) => known.id !== line.id);
  it.lines.splice(first < 0 ? it.lines.length : first, 0, line);
}

// It is on again and can come off again; a capacitor is measured again before what is inside.
function back_on(it, id) {
  const was = it.off.find((off) => off.id === id);
  if (!was) return;
  it.off = it.off.filter((off) => off !== was);
  it.steps.push({ cautions: [was.caution].filter(Boolean), unseen: [], first: [], first_ids: [], live: [], pictures: [], volts: null,
    charged: was.volts, way: false, ...was, back: line_of(it, `back:${id}`)?.words });
  if (was.source) for (const step of it.steps) if (step.id !== id) step.live.push({ id, words: was.words });
  if (was.waiting) for (const step of it.steps) if (step.charged?.id === id) step.volts = { ...step.charged, said: "" };
}

const line_of = (it, id) => it.lines.find((line) => line.id === id);

function mark(it, id, done, wrong = false, said = "") {
  const line = line_of(it, id);
  if (line) Object.assign(line, { done, wrong, said: said || "", pending: true });
}

export const kind_words = (kind) =>
  `${kind.count} x ${[kind.drive, kind.length].filter(Boolean).join(", ")}${kind.where ? ` (${kind.where})` : ""}`;
