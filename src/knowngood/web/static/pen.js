// A pen on a picture. What is drawn becomes a second picture; the first stays as it was.

import { h, key } from "./dom.js";

const WIDTH = 0.008; // of the picture's longer side
const QUALITY = 0.85;

// Turns the dialog with `image` into a sheet to draw on. `keep(ArrayBuffer)` gets the marked one.
export function pen(dialog, image, keep) {
  const sheet = h("canvas", { class: "large sheet", tabindex: 0, "aria-label": "Draw with a finger or a pen" });
  const strokes = [];
  let live = null;
  const draw = () => {
    sheet.width = image.naturalWidth;
    sheet.height = image.naturalHeight;
    const at = sheet.getContext("2d");
    at.drawImage(image, 0, 0);
    const wide = Math.max(sheet.width, sheet.height) * WIDTH;
    for (const [colour, width] of [["#fff", wide * 1.8], ["#c4160a", wide]]) {
      Object.assign(at, { strokeStyle: colour, lineWidth: width, lineCap: "round", lineJoin: "round" });
      for (const stroke of strokes) {
        at.beginPath();
        stroke.forEach(([x, y], n) => (n ? at.lineTo(x, y) : at.moveTo(x, y)));
        if (stroke.length === 1) at.lineTo(stroke[0][0] + 0.1, stroke[0][1]);
        at.stroke();
      }
    }
  };
  const place = (event) => {
    const box = sheet.getBoundingClientRect();
    return [(event.clientX - box.left) * (sheet.width / box.width), (event.clientY - box.top) * (sheet.height / box.height)];
  };
  sheet.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    sheet.setPointerCapture(event.pointerId);
    live = [place(event)];
    strokes.push(live);
    draw();
  });
  sheet.addEventListener("pointermove", (event) => { if (live) { live.push(place(event)); draw(); } });
  for (const end of ["pointerup", "pointercancel"]) sheet.addEventListener(end, () => { live = null; });
  const done = key("Keep the marked one", async () => {
    if (!strokes.length) { dialog.close(); return; }
    done.disabled = true;
    const blob = await new Promise((ready) => { sheet.toBlob(ready, "image/jpeg", QUALITY); });
    await keep(await blob.arrayBuffer());
    dialog.close();
  }, { kind: "do", id: "keep-marked" });
  dialog.replaceChildren(h("p", {}, "Draw with a finger. The picture itself stays as it is."), sheet,
    h("div", { class: "keys two" }, key("Last stroke away", () => { strokes.pop(); draw(); }), done,
      key("Close", () => dialog.close())));
  if (image.complete && image.naturalWidth) draw();
  else image.addEventListener("load", draw, { once: true });
}
