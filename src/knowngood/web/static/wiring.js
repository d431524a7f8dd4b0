// The picture of the wiring: points with their numbers, the two leads marked, pinch to zoom.

import { h, key } from "./dom.js";
import { recall, remember } from "./kept.js";

const SVG = "http://www.w3.org/2000/svg";
const LEAST = 40; // millimetres of the picture across the screen

let picture = null;

export async function load_wiring(job, digest) {
  if (picture) return picture;
  const name = `wiring:${job}`;
  try {
    const fresh = await (await fetch(`/api/jobs/${job}/wiring`)).json();
    if (fresh.svg !== undefined) {
      picture = { ...fresh, digest };
      await remember(name, picture).catch(() => {});
    }
  } catch {
    picture = (await recall(name).catch(() => null)) || null;
  }
  return picture;
}

// The picture with the shop's gear that this step uses; off the network the whole one.
async function picture_for(job, step) {
  const whole = await load_wiring(job, "");
  if (!whole?.svg || !step?.id) return whole;
  try {
    const found = await (await fetch(`/api/jobs/${job}/wiring?test=${encodeURIComponent(step.id)}`)).json();
    return found.svg ? found : whole;
  } catch {
    return whole;
  }
}

// The numbers of the points of a step, as they stand on the picture: "12 and 0".
export function numbers_of(pairs) {
  if (!picture?.points.length || !pairs?.length) return [];
  const at = Object.fromEntries(picture.points.map((point) => [point.node, point.number]));
  return pairs.map((pair) => pair.map((node) => at[node]));
}

// A dialog with the picture; `step` has probe pairs of nodes, and what to call the leads.
export async function show_wiring(job, step) {
  const dialog = h("dialog", { class: "broad wiring", "aria-label": "The wiring" });
  const close = key("Close", () => dialog.close(), { kind: "do" });
  dialog.append(h("p", { role: "status" }, "The picture is drawn …"), close);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  const found = await picture_for(job, step);
  if (!found?.svg) {
    dialog.replaceChildren(h("p", {}, found ? "The file of this machine has no wiring." : "The picture is on the shop's computer, which is not reached now."), close);
    return;
  }
  dialog.replaceChildren(...sheet(found, step, close));
}

function sheet(found, step, close) {
  const svg = document.importNode(new DOMParser().parseFromString(found.svg, "image/svg+xml").documentElement, true);
  svg.removeAttribute("width");
  svg.removeAttribute("height");
  svg.setAttribute("class", "drawing");
  svg.setAttribute("tabindex", "0");
  const places = Object.fromEntries(found.points.map((point) => [point.node, point]));
  const pairs = (step?.probe || []).filter((pair) => pair.every((node) => places[node]));
  let shown = 0;
  const words = h("p", { class: "said", "aria-live": "polite" });
  const eye = look_at(svg, found);
  const mark = () => {
    svg.querySelectorAll("[data-mine]").forEach((old) => old.remove());
    const pair = pairs[shown];
    words.textContent = "";
    if (!pair) { eye.whole(); return; }
    const [red, black] = pair.map((node) => places[node]);
    svg.append(lead(red, "R", true), lead(black, "B", false));
    words.append(`R (red) on ${red.number} (${red.words}), B (black) on ${black.number} (${black.words})`);
    eye.at([red, black]);
  };
  const keys = h("div", { class: "keys three" }, key("Nearer", () => eye.zoom(0.7)), key("Wider", () => eye.zoom(1.4)),
    key("All of it", () => eye.whole()), pairs.length > 0 && key("The two points", mark),
    pairs.length > 1 && key(`Next pair (of ${pairs.length})`, () => { shown = (shown + 1) % pairs.length; mark(); }), close);
  requestAnimationFrame(mark);
  return [words, h("div", { class: "window" }, svg), keys];
}

const make = (name, given) => {
  const one = document.createElementNS(SVG, name);
  for (const [key_, value] of Object.entries(given)) one.setAttribute(key_, String(value));
  return one;
};

// R in a disc, B in a square, beside the point as on paper.
function lead(point, letter, round) {
  const group = make("g", { "data-mine": letter });
  const [x, y] = point.mark;
  const colour = round ? "#a3150c" : "#101010";
  group.append(make("path", { d: `M${point.at[0]} ${point.at[1]} L${x} ${y}`, stroke: colour, "stroke-width": 0.9 }),
    make("circle", { cx: point.at[0], cy: point.at[1], r: 3.1, fill: "none", stroke: colour, "stroke-width": 1 }),
    round ? make("circle", { cx: x, cy: y, r: 2.4, fill: colour })
      : make("rect", { x: x - 2.2, y: y - 2.2, width: 4.4, height: 4.4, fill: colour }));
  const text = make("text", { x, y: y + 1.1, "text-anchor": "middle", fill: "white", "font-weight": "bold", "font-size": 3.2, "font-family": "sans-serif" });
  text.textContent = letter;
  group.append(text);
  return group;
}

// What of the picture is seen: moved with a finger, zoomed with two, with the wheel, with keys.
function look_at(svg, { width, height }) {
  let box = { x: 0, y: 0, w: width, h: height };
  const ratio = () => (svg.clientHeight || 1) / (svg.clientWidth || 1);
  const put = (x, y, w) => {
    const wide = Math.min(Math.max(w, LEAST), Math.max(width, height / ratio()));
    const high = wide * ratio();
    const keep = (at, size, all) => (size >= all ? (all - size) / 2 : Math.min(Math.max(at, 0), all - size));
    box = { x: keep(x, wide, width), y: keep(y, high, height), w: wide, h: high };
    svg.setAttribute("viewBox", `${box.x} ${box.y} ${box.w} ${box.h}`);
  };
  const around = (cx, cy, factor) => put(cx - (cx - box.x) * factor, cy - (cy - box.y) * factor, box.w * factor);
  const there = (event) => {
    const frame = svg.getBoundingClientRect();
    return [box.x + ((event.clientX - frame.left) / frame.width) * box.w, box.y + ((event.clientY - frame.top) / frame.height) * box.h];
  };
  const fingers = new Map();
  svg.addEventListener("pointerdown", (event) => { svg.setPointerCapture(event.pointerId); fingers.set(event.pointerId, event); });
  svg.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    if (fingers.size === 1) {
      const [[x0, y0], [x1, y1]] = [there(before), there(event)];
      put(box.x + x0 - x1, box.y + y0 - y1, box.w);
    } else {
      const other = [...fingers.values()].find((one) => one.pointerId !== event.pointerId);
      const apart = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY) || 1;
      const [[ax, ay], [bx, by]] = [there(event), there(other)];
      around((ax + bx) / 2, (ay + by) / 2, apart(before) / apart(event));
    }
    fingers.set(event.pointerId, event);
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, (event) => fingers.delete(event.pointerId));
  svg.addEventListener("wheel", (event) => { event.preventDefault(); around(...there(event), event.deltaY > 0 ? 1.2 : 1 / 1.2); }, { passive: false });
  svg.addEventListener("keydown", (event) => {
    const step = box.w / 6;
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (move) put(box.x + move[0], box.y + move[1], box.w);
    else if (event.key === "+") zoom(0.7);
    else if (event.key === "-") zoom(1.4);
    else return;
    event.preventDefault();
  });
  const zoom = (factor) => around(box.x + box.w / 2, box.y + box.h / 2, factor);
  return {
    zoom, whole: () => put(0, 0, Math.max(width, height / ratio())),
    at: (points) => {
      const xs = points.flatMap((one) => [one.at[0], one.mark[0]]);
      const ys = points.flatMap((one) => [one.at[1], one.mark[1]]);
      const [left, right, top, foot] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
      const wide = Math.max(right - left + 26, (foot - top + 26) / ratio(), 70);
      put((left + right - wide) / 2, (top + foot - wide * ratio()) / 2, wide);
    },
  };
}
