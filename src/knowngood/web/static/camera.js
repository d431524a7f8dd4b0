// Pictures: job and step are kept before the camera opens, for the phone may throw the page away
// meanwhile; what comes back is made smaller here and goes into the outbox.

import { h } from "./dom.js";
import { forget, recall, remember } from "./kept.js";
import { keep } from "./outbox.js";

const LONGEST = 1600;
export const QUALITY = 0.82;

// Asks for a picture. `about` and `caption` are kept with it.
// `into(files)` takes the files where they are not to be kept on the job at once.
export async function take_picture({ job, about, caption, based_on, camera = true, done, failed, into }) {
  await remember("camera", { job, about, caption, at: Date.now() });
  const input = h("input", { type: "file", accept: "image/*", class: "from-camera", hidden: true,
    capture: camera ? "environment" : null, multiple: !camera });
  document.querySelectorAll("input.from-camera").forEach((old) => old.remove());
  document.body.append(input);
  input.addEventListener("cancel", () => { forget("camera"); input.remove(); });
  input.addEventListener("change", async () => {
    const files = [...input.files];
    input.remove();
    try {
      if (into) await into(files);
      else for (const file of files) await keep_picture(file, { job, about, caption, based_on });
      await forget("camera");
      done?.(files.length);
    } catch (error) {
      failed?.(error);
    }
  });
  input.click();
}

// A picture that was about to be taken on this job when the page went away, or null.
export async function interrupted(job) {
  const was = await recall("camera");
  return was && was.job === job ? was : null;
}

export const let_go = () => forget("camera");

export async function keep_picture(file, { job, about, caption, based_on }) {
  const { picture, type } = await smaller(file);
  return keep({ job, kind: "PictureAdded", body: { about, caption }, based_on, picture, type,
    name: file.name || "picture" });
}

// A picture that was made on this page, as it is.
export const keep_buffer = (picture, { job, about, caption, based_on }) =>
  keep({ job, kind: "PictureAdded", body: { about, caption }, based_on, picture, type: "image/jpeg", name: "marked.jpg" });

// A picture, or what a video shows now, on a canvas of at most 1600 pixels a side.
export function shrunk(source, width, height) {
  const size = Math.min(1, LONGEST / Math.max(width, height));
  const canvas = h("canvas", { width: Math.max(1, Math.round(width * size)), height: Math.max(1, Math.round(height * size)) });
  canvas.getContext("2d").drawImage(source, 0, 0, canvas.width, canvas.height);
  return canvas;
}

// At most 1600 pixels a side, upright. What this phone cannot read goes as it is: the server says
// what is wrong with it, and it stays in the queue.
export async function smaller(file) {
  try {
    const bitmap = await createImageBitmap(file, { imageOrientation: "from-image" });
    const canvas = shrunk(bitmap, bitmap.width, bitmap.height);
    bitmap.close();
    const blob = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
    if (!blob) throw new Error("no picture came out");
    return { picture: await blob.arrayBuffer(), type: "image/jpeg" };
  } catch {
    return { picture: await file.arrayBuffer(), type: file.type || "application/octet-stream" };
  }
}
