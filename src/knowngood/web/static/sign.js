// A signature drawn with the finger, as a picture.

import { h, key } from "./dom.js";

const WIDE = 680;
const HIGH = 240;

// `changed(drawn)` after each stroke. Returns { element, drawn(), picture() }.
export function signature(changed) {
  const canvas = h("canvas", { width: WIDE, height: HIGH, class: "sign", id: "sign", role: "img", "aria-label": "Signature: draw with the finger" });
  const pen = canvas.getContext("2d");
  let strokes = 0;
  let down = false;
  const clear = () => { pen.fillStyle = "#fff"; pen.fillRect(0, 0, WIDE, HIGH); strokes = 0; };
  const at = (event) => {
    const place = canvas.getBoundingClientRect();
    return [(event.clientX - place.left) * WIDE / place.width, (event.clientY - place.top) * HIGH / place.height];
  };
  clear();
  Object.assign(pen, { lineWidth: 4, lineCap: "round", lineJoin: "round", strokeStyle: "#10202a" });
  canvas.addEventListener("pointerdown", (event) => {
    down = true;
    canvas.setPointerCapture(event.pointerId);
    pen.beginPath();
    pen.moveTo(...at(event));
    event.preventDefault();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!down) return;
    pen.lineTo(...at(event));
    pen.stroke();
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, () => { if (down) { down = false; strokes += 1; changed?.(true); } });
  }
  return {
    element: h("div", {}, canvas, h("p", {}, key("Draw it again", () => { clear(); changed?.(false); }, { id: "sign-again" }))),
    drawn: () => strokes > 0,
    picture: () => new Promise((done, failed) => {
      canvas.toBlob((blob) => (blob ? blob.arrayBuffer().then(done, failed) : failed(new Error("no picture came out"))), "image/png");
    }),
  };
}
