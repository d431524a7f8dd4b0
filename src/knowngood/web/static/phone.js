// This phone's queue: what has not arrived, why, and a way to take it elsewhere.

import { h, key, own } from "./dom.js";
import { as_file, flush, retry, throw_away, unsent, watch } from "./outbox.js";

const list = document.getElementById("queue");
const KINDS = { PictureAdded: "Picture", VideoAdded: "Video", NoteAdded: "Note", ReadingTaken: "Reading", ReadingsTaken: "First look", CapacitorRead: "Volts on the capacitor",
  ReadingWithdrawn: "Reading taken back", StepOpened: "Came off", StepClosed: "Back on", StepNoted: "Noted on a step", LineTicked: "Line of the rebuild",
  PartInHand: "Part in hand", PartTagged: "Old part tagged", PartFitted: "Part fitted", PartDecided: "Part decided", ReleaseChecked: "Release check",
  CauseAnswered: "Cause", StepTaught: "Kept in the machine's file", JobClosed: "Job closed" };

async function show() {
  const all = await unsent();
  list.replaceChildren(...(all.length ? all.map(row) : [h("p", { role: "listitem" }, "Everything has arrived.")]));
}

function row(one) {
  const refused = one.state === "refused";
  const said = one.body.text || one.body.caption || one.body.name || one.body.part || one.body.words || one.body.step || one.body.test || one.body.reading_id || "";
  return h("div", { class: `card${refused ? " loud" : ""}`, role: "listitem" },
    h("p", {}, h("b", {}, `${one.n}. ${KINDS[one.kind] || one.kind}`), " ", own(said)),
    h("p", { class: "soft" }, `${one.device_time.slice(0, 16).replace("T", " ")} by `, own(one.by || "somebody"),
      one.picture ? `, picture ${Math.ceil(one.picture.byteLength / 1024)} KB` : ""),
    refused
      ? [h("p", {}, h("span", { class: "mark" }, "▲ refused: "), own(one.message)),
        key("Throw away", () => {
          if (confirm("It is then gone from this phone and was never stored. Throw it away?")) {
            throw_away(one.n).then(show);
          }
        })]
      : h("p", {}, h("span", { class: "mark" }, "● waiting")));
}

document.getElementById("send").addEventListener("click", () => retry().then(show));
document.getElementById("export").addEventListener("click", async () => {
  const link = h("a", { href: URL.createObjectURL(await as_file()), download: "knowngood-queue.json" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
});
watch(() => { show(); });
flush();
