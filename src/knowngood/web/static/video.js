// One video instead of a burst: it is kept on the phone, and stills are picked from it whenever
// there is time. A still is a picture like any other; the video itself may be sent, or let go.

import { fold, h, key, own } from "./dom.js";
import { QUALITY, shrunk } from "./camera.js";
import { change, look } from "./kept.js";
import { keep, new_id } from "./outbox.js";

const MOST_HERE = 250_000_000; // bytes of one video that this phone keeps
const MOST_SENT = 100_000_000; // as the server takes them, web/pictures.py
const BEFORE = "video:";
const STEP = 0.5; // seconds between two looks

const ms = (bytes) => `${Math.max(1, Math.round(bytes / 1e6))} MB`;
export const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;

const tenths = (seconds) => `${clock(seconds)}.${Math.floor((seconds % 1) * 10)}`;

let mine = null; // what this phone keeps, of all jobs; null: not read yet

async function read() {
  mine = await look(async (_, kept, result) => {
    const names = (await result(kept.getAllKeys())).filter((one) => String(one).startsWith(BEFORE));
    return Promise.all(names.map((one) => result(kept.get(one))));
  });
}

// Asks for a video of `about`, and keeps it on this phone before anything else.
export function record(at, about, caption) {
  document.querySelectorAll("input.from-camera").forEach((old) => old.remove());
  const input = h("input", { type: "file", accept: "video/*", class: "from-camera", hidden: true, capture: "environment" });
  document.body.append(input);
  input.addEventListener("change", async () => {
    const file = input.files[0];
    input.remove();
    if (!file) return;
    const one = { id: new_id(), job: at.view.id, about, caption, name: file.name || "video", type: file.type || "video/mp4", at: file.lastModified || Date.now(), size: file.size, bytes: null };
    if (file.size > MOST_HERE) {
      pick(at, one, file, `${one.name} has ${ms(file.size)}; at most ${ms(MOST_HERE)} stay on a phone. Pick its stills now: it is not kept when this is closed.`);
      return;
    }
    try {
      one.bytes = await file.arrayBuffer();
      await change((_, kept) => { kept.put(one, BEFORE + one.id); });
      mine = [...(mine || []), one];
      at.set({ videos: one.id });
    } catch (error) {
      pick(at, one, file, `This phone did not keep it (${error.message}). Pick its stills now: it is gone when this is closed.`);
    }
  });
  input.click();
}

// The videos of this job: on this phone, and on the shop's computer.
export function videos(at) {
  const { apart, view } = at;
  if (mine === null) {
    mine = [];
    read().then(() => at.set({ videos: "read" })).catch(() => {});
  }
  const here = mine.filter((one) => one.job === view.id);
  const there = apart.videos || [];
  if (!here.length && !there.length) return null;
  return fold(`Videos (${here.length + there.length})`, [
    here.map((one) => h("div", { class: "card" },
      h("p", {}, h("span", { class: "mark" }, "● on this phone: "), own(one.caption || one.name), h("span", { class: "soft" }, ` ${ms(one.size)}`)),
      h("div", { class: "keys two" },
        key("Pick stills", () => pick(at, one), { kind: "do", label: `Pick stills: ${one.caption || one.name}` }),
        key("Send it too", () => send(at, one), { label: `Send the video: ${one.caption || one.name}` }),
        key("Let it go", () => { if (confirm("The stills stay. The video is gone from this phone. Let it go?")) let_go(at, one); }, { label: `Let it go: ${one.caption || one.name}` })))),
    there.map((one) => h("div", { class: "card" },
      h("p", {}, h("span", { class: "mark" }, "✓ "), own(one.caption || one.about), one.seconds > 0 && h("span", { class: "soft" }, ` ${clock(one.seconds)}`)),
      h("div", { class: "keys two" }, key("Pick stills", () => pick(at, { ...one, address: `/api/videos/${one.digest}` }),
        { label: `Pick stills: ${one.caption || one.about}` })))),
  ], { id: "videos", open: true });
}

async function let_go(at, one) {
  await change((_, kept) => { kept.delete(BEFORE + one.id); });
  mine = mine.filter((other) => other.id !== one.id);
  at.set({ videos: `gone ${one.id}` });
}

async function send(at, one) {
  if (one.size > MOST_SENT) {
    alert(`${one.name} has ${ms(one.size)}; at most ${ms(MOST_SENT)} of a video are sent. Its stills are sent by themselves.`);
    return;
  }
  await keep({ job: one.job, kind: "VideoAdded", body: { caption: one.caption, about: one.about, seconds: one.seconds || 0 },
    based_on: at.view.seq, picture: one.bytes, type: one.type, name: one.name });
  await let_go(at, one);
}

// A dialog to look through the video and take stills from it.
function pick(at, one, file = null, warning = "") {
  const address = one.address || URL.createObjectURL(file || new Blob([one.bytes], { type: one.type }));
  const film = h("video", { class: "large", playsinline: true, preload: "auto", src: address, "aria-label": one.caption || "The video" });
  film.muted = true;
  const slider = h("input", { type: "range", class: "field", min: 0, max: 1, step: 0.05, value: 0, id: "film-at", "aria-label": "Where in the video" });
  const said = h("p", { role: "status", id: "film-said" }, warning || "Reading the video ...");
  const taken = h("div", { class: "thumbs" });
  const steps = [...new Map([[one.about, one.caption], ...at.apart.off.map((step) => [step.id, step.words])]).entries()];
  let about = one.about;
  let busy = false;
  const of = h("div", { class: "keys one", role: "group", "aria-label": "What the still shows" });
  const show_steps = () => of.replaceChildren(...steps.map(([id, words]) =>
    key(own(words || "this job"), () => { about = id; show_steps(); }, { pressed: id === about })));
  const go = (to) => { film.currentTime = Math.min(Math.max(0, to), Number(slider.max)); };
  const place = () => { slider.value = film.currentTime; };
  const take = async () => {
    if (busy || !film.videoWidth) return;
    busy = true;
    try {
      const when = film.currentTime;
      const canvas = shrunk(film, film.videoWidth, film.videoHeight);
      const blob = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
      if (!blob) throw new Error("no picture came out");
      const words = steps.find(([id]) => id === about)?.[1] || "";
      const caption = `${words} (${tenths(when)} in the video${one.at ? ` of ${new Date(one.at).toLocaleString("sv").slice(0, 16)}` : ""})`.trim();
      await keep({ job: at.view.id, kind: "PictureAdded", body: { about, caption }, based_on: at.view.seq,
        picture: await blob.arrayBuffer(), type: "image/jpeg", name: `still-${clock(when).replace(":", "-")}.jpg` });
      taken.append(h("img", { src: URL.createObjectURL(blob), alt: caption, width: 84, height: 84 }));
      said.textContent = `Still at ${tenths(when)} kept: ${words || "this job"}.`;
    } catch (error) {
      said.textContent = `The still was not kept: ${error.message}`;
    }
    busy = false;
  };
  film.addEventListener("loadedmetadata", async () => {
    const length = await length_of(film);
    one.seconds = Math.round(length * 10) / 10;
    slider.max = length;
    said.textContent = warning || `${clock(length)} long. Go to a moment, then take the still.`;
    dialog.dataset.ready = "yes";
  });
  film.addEventListener("error", () => { said.textContent = `${one.name || "The video"} cannot be shown by this browser. Send it whole, or record it anew in another format (MP4 or WebM).`; });
  film.addEventListener("timeupdate", place);
  film.addEventListener("seeked", place);
  slider.addEventListener("input", () => go(Number(slider.value)));
  const dialog = h("dialog", { class: "broad film", "aria-label": "Pick stills from the video" }, film, slider, said,
    h("div", { class: "keys three" },
      key("− ½ s", () => go(film.currentTime - STEP), { label: "Half a second back", id: "film-back" }),
      key("Take the still", take, { kind: "do", id: "still" }),
      key("+ ½ s", () => go(film.currentTime + STEP), { label: "Half a second on", id: "film-on" })),
    taken, h("h3", {}, "What it shows"), of,
    h("div", { class: "keys one" }, key("Done", () => dialog.close(), { id: "film-done" })));
  dialog.addEventListener("close", () => {
    if (!one.address) URL.revokeObjectURL(address);
    dialog.remove();
    at.show();
  });
  show_steps();
  document.body.append(dialog);
  dialog.showModal();
}

// Seconds. A video that a browser recorded says nothing of its length until its end was looked at.
async function length_of(film) {
  if (Number.isFinite(film.duration)) return film.duration;
  const known = new Promise((done) => {
    film.addEventListener("durationchange", () => { if (Number.isFinite(film.duration)) done(film.duration); });
    setTimeout(() => done(film.currentTime), 4000);
  });
  film.currentTime = 1e7;
  const length = await known;
  const there = new Promise((done) => { film.addEventListener("seeked", done, { once: true }); setTimeout(done, 2000); });
  film.currentTime = 0;
  await there;
  return length;
}
