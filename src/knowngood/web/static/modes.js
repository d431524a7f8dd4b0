// The places of one job on one screen: measure, take apart, rebuild, hand back. One page, so that
// all of them are there without the network.

import { h, key } from "./dom.js";
import { with_waiting } from "./apart_now.js";
import { new_id, person, stamp } from "./outbox.js";
import { rebuild } from "./rebuild.js";
import { release } from "./release.js";
import { teardown } from "./teardown.js";

const AWAY = 10 * 60000; // milliseconds without a touch after which somebody comes back
const TWICE = 350;
const PLACES = { measure: "Measure", apart: "Take apart", rebuild: "Rebuild", release: "Hand back" };
const SHOWS = { apart: teardown, rebuild, release };
const TIMED = new Set(["StepOpened", "StepClosed", "LineTicked"]);

export const draft = {}; // what is typed and not kept yet, by field

export const place_of = (text) => (text in PLACES ? text : "");

export function mode_keys(mode, apart, go) {
  const done = apart.lines.filter((line) => line.done).length;
  const off = apart.off.filter((one) => !one.waiting).length; // as counted on the page itself
  const more = { apart: off ? `${off} off` : "",
    rebuild: apart.lines.length ? `${done}/${apart.lines.length}` : "",
    release: apart.release.held && apart.release.checks.some((one) => one.result !== "blank") ? "held" : "" };
  return h("div", { class: "modes", role: "group", "aria-label": "Places of this job" },
    Object.entries(PLACES).map(([name, words]) => key([h("span", {}, words), more[name] && h("small", {}, more[name])],
      () => go(name), { pressed: name === mode, id: `mode-${name}` })));
}

// `desk` is the bench: its view, waiting entries, memory, and how it keeps and shows.
export function make_places(desk) {
  let touched = Date.now();
  let since = Date.now();
  let looked = false;
  let tapped = { at: 0, x: -99, y: -99 };
  addEventListener("pointerdown", () => {
    if (Date.now() - touched > AWAY) since = Date.now();
    touched = Date.now();
  }, { capture: true });

  const act = (kind, body) => {
    const timed = TIMED.has(kind) ? { since: stamp(new Date(since)) } : {};
    since = Date.now();
    looked = true;
    return desk.do_it(kind, { ...body, ...timed });
  };

  // Was somebody away since the last thing that was done here? Told once, until looked at.
  function back_again(apart) {
    const last = apart.last.at(-1);
    return !looked && Boolean(last) && Date.now() - Date.parse(last.at) > AWAY;
  }

  function at() {
    const { view, waiting, memory } = desk.now();
    const apart = with_waiting(view.apart, waiting);
    return {
      view, waiting, memory, apart, draft, act, new_id, person,
      set: (more) => desk.remember(more), show: desk.show, go: desk.go,
      photo: desk.photo, photos: desk.photos, keep_marked: desk.keep_marked,
      back_again: back_again(apart), go_on: () => { looked = true; desk.show(); },
      answered: (cause) => waiting.some((one) => one.kind === "CauseAnswered" && one.body.cause === cause),
    };
  }

  // A second touch at the same place within a moment is none: the screen has moved on under it.
  document.addEventListener("click", (event) => {
    if (!event.target.closest?.("#slot-place .key") || event.target.closest(".stepper") || !event.detail) return;
    const again = Date.now() - tapped.at < TWICE && Math.hypot(event.clientX - tapped.x, event.clientY - tapped.y) < 24;
    if (again) { event.preventDefault(); event.stopImmediatePropagation(); return; }
    tapped = { at: Date.now(), x: event.clientX, y: event.clientY };
  }, { capture: true });

  // The line in front is in sight when another one has come to the front.
  let front = "";
  function in_sight() {
    const card = document.querySelector("#line h2, #step-off h2, #take-off h2, #check h2");
    const now = card?.textContent || "";
    if (front && now !== front && card && card.getBoundingClientRect().top < 0) scrollTo({ top: 0 });
    front = now;
  }

  return { at, in_sight, shows: (mode) => SHOWS[mode] };
}
