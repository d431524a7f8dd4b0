// The outbox: each thing a person does is kept on the phone before the screen moves on, and sent
// in order until the server says that it is stored. Sending twice is harmless: the server knows
// each entry by this phone's name and the entry's number.

import { change, look } from "./kept.js";

const TOGETHER = 8;
const EVERY = 4000;
const PATIENCE = 20000;
const PICTURE_PATIENCE = 120000;
const MOST_BYTES = { picture: 60_000_000, video: 100_000_000 }; // as the server takes them, web/pictures.py

const watchers = new Set();
const viewers = new Set();
const state = { unsent: 0, refused: 0, reached: true, said: "", clock: "" };
let busy = false;
let again = false;

export function new_id() {
  const bytes = new Uint8Array(12);
  if (globalThis.crypto?.getRandomValues) crypto.getRandomValues(bytes);
  else for (let at = 0; at < bytes.length; at++) bytes[at] = Math.floor(Math.random() * 256);
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// The phone's own time with its offset: 2026-03-14T09:26:53.589+01:00
export function stamp(at = new Date()) {
  const east = -at.getTimezoneOffset();
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const there = new Date(at.getTime() + east * 60000).toISOString().slice(0, -1);
  return `${there}${east < 0 ? "-" : "+"}${two(east / 60)}:${two(east % 60)}`;
}

export const person = () => localStorage.getItem("by") || "";

export function watch(listener) {
  watchers.add(listener);
  listener(state);
  return () => watchers.delete(listener);
}

// `small`: also jobs of which only id and number came, as after entries of the counter.
export function on_view(listener, { small = false } = {}) {
  const listening = (job) => { if (small || !job.small) listener(job); };
  viewers.add(listening);
  return () => viewers.delete(listening);
}

// Keep one entry; returns it once the phone has it on its disk. `picture`: an ArrayBuffer.
export async function keep({ job, kind, body, based_on = null, picture = null, type = "", name = "" }) {
  const entry = await change(async (queue, kept, result) => {
    const device = (await result(kept.get("device"))) || { id: `phone-${new_id()}`, next: 1 };
    const one = {
      n: device.next, device: device.id, job, kind, version: 1, body, based_on,
      by: person(), device_time: stamp(), picture, type, name, state: "waiting", message: "",
    };
    kept.put({ ...device, next: device.next + 1 }, "device");
    queue.put(one);
    return one;
  });
  await count();
  flush();
  return entry;
}

// All entries not yet stored, in order; of one job when it is named.
export async function unsent(job = null) {
  const all = await look((queue, _, result) => result(queue.getAll()));
  return job === null ? all : all.filter((one) => one.job === job);
}

async function count() {
  const all = await look((queue, _, result) => result(queue.getAll()));
  state.unsent = all.length;
  state.refused = all.filter((one) => one.state === "refused").length;
  for (const listener of watchers) listener(state);
}

const settle = (n, work) => change(async (queue, _, result) => {
  const there = await result(queue.get(n));
  if (there) work(there, queue);
});

const refuse = (n, message) => settle(n, (one, queue) =>
  queue.put({ ...one, state: "refused", message }));

export async function retry() {
  await change(async (queue, _, result) => {
    for (const one of await result(queue.getAll())) {
      if (one.state === "refused") queue.put({ ...one, state: "waiting", message: "" });
    }
  });
  await count();
  return flush();
}

export async function throw_away(n) {
  await change((queue) => { queue.delete(n); });
  await count();
}

async function ask(address, given, patience) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), patience);
  try {
    const response = await fetch(address, { ...given, signal: stop.signal, cache: "no-store" });
    const text = await response.text();
    let said = null;
    try { said = JSON.parse(text); } catch { /* another server answered, or half an answer */ }
    return { status: said === null ? 502 : response.status, said };
  } finally {
    clearTimeout(timer);
  }
}

const post = (address, data, patience) => ask(address, {
  method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(data),
}, patience);

// Send what waits, in order. Returns when there is nothing left to send or no way to send it.
export async function flush() {
  if (busy) { again = true; return; }
  busy = true;
  try {
    do {
      again = false;
      while (await send_some()) { /* and the next */ }
    } while (again);
    state.reached = true;
  } catch (error) {
    state.reached = false;
    state.said = error?.sayable || "";
  } finally {
    busy = false;
    await count().catch(() => {});
  }
}

async function send_some() {
  const waiting = (await unsent()).filter((one) => one.state === "waiting");
  if (!waiting.length) return false;
  const first = waiting[0];
  if (first.picture && !first.body.digest) {
    await send_picture(first);
    return true;
  }
  const together = [];
  for (const one of waiting) {
    if (one.job !== first.job || one.device !== first.device) break;
    if ((one.picture && !one.body.digest) || together.length === TOGETHER) break;
    together.push(one);
  }
  const { status, said } = await post(`/api/jobs/${encodeURIComponent(first.job)}/events`, {
    device: first.device, sent_at: stamp(),
    events: together.map((one) => ({
      device_seq: one.n, kind: one.kind, version: one.version, device_time: one.device_time,
      based_on: one.based_on, by: one.by, body: one.body,
    })),
  }, PATIENCE);
  if (status >= 500) throw later(said?.message);
  if (status !== 200) {
    for (const one of together) await refuse(one.n, said?.message || `answered ${status}`);
    await count();
    return true;
  }
  let wait = null;
  for (const result of said.results) {
    if (result.status === "later") wait = result.message;
    else if (result.status === "refused") await refuse(result.device_seq, result.message);
    else await settle(result.device_seq, (one, queue) => queue.delete(one.n));
  }
  state.clock = said.clock;
  state.reached = true;
  await count();
  if (said.job) for (const listener of viewers) listener(said.job);
  if (wait !== null) throw later(wait);
  return true;
}

// Too large is said here: a server that stops reading looks to a browser like one that is gone.
async function send_picture(one) {
  const what = one.kind === "VideoAdded" ? "video" : "picture";
  const most = MOST_BYTES[what];
  if (one.picture.byteLength > most) {
    await refuse(one.n, `${one.name || `The ${what}`} has ${Math.round(one.picture.byteLength / 1e6)} MB; at most ${most / 1e6} MB are kept. Take it again with a lower setting of the camera.`);
    await count();
    return;
  }
  const { status, said } = await ask(`/api/${what}s?name=${encodeURIComponent(one.name)}`, {
    method: "POST", headers: { "Content-Type": one.type || "image/jpeg" }, body: one.picture,
  }, PICTURE_PATIENCE);
  if (status >= 500) throw later(said?.message);
  if (status !== 200) await refuse(one.n, said?.message || `answered ${status}`);
  else await settle(one.n, (there, queue) =>
    queue.put({ ...there, body: { ...there.body, digest: said.digest } }));
  await count();
}

function later(message) {
  return Object.assign(new Error("later"), { sayable: message || "" });
}

// A fresh job from the server, or null when it is as `seen` says. Throws when not reached.
export async function job_from_server(job, seen) {
  const address = `/api/jobs/${encodeURIComponent(job)}${seen ? `?seen=${seen}` : ""}`;
  const response = await fetch(address, { cache: "no-store" });
  if (response.status === 204) return null;
  if (!response.ok) throw new Error(`answered ${response.status}`);
  return response.json();
}

export function tell_viewers(job) {
  for (const listener of viewers) listener(job);
}

// Everything not yet stored as a file, pictures in base64; it can be handed over on any way.
export async function as_file() {
  const all = await unsent();
  const entries = all.map((one) => ({
    ...one, picture: one.picture ? base64(one.picture) : null,
  }));
  const text = JSON.stringify({ kind: "knowngood queue", version: 1, saved: stamp(), entries });
  return new Blob([text], { type: "application/json" });
}

function base64(buffer) {
  const bytes = new Uint8Array(buffer);
  let text = "";
  for (let at = 0; at < bytes.length; at += 32768) {
    text += String.fromCharCode(...bytes.subarray(at, at + 32768));
  }
  return btoa(text);
}

export function start() {
  count().catch(() => {});
  flush();
  addEventListener("online", () => flush());
  addEventListener("pageshow", () => flush());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  setInterval(() => { if (!document.hidden) flush(); }, EVERY);
}
