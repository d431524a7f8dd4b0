// What this phone keeps: one database with the queue of entries and a few named values.
// Pictures lie in it as ArrayBuffers: some browsers lose Blobs that were stored.

const NAME = "knowngood";
let opened = null;

function open() {
  opened ||= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("queue", { keyPath: "n" });
      asked.result.createObjectStore("kept");
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => asked.result.close();
      asked.result.onclose = () => { opened = null; };
      done(asked.result);
    };
    asked.onerror = () => {
      opened = null;
      failed(new Error("This browser lets pages keep nothing (a private window?). Open the page "
        + "in a normal window; until then nothing can be entered."));
    };
  });
  return opened;
}

const answer = (request) => new Promise((done, failed) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

// Runs `work(store of the queue, store of the kept)` and returns once the disk has it.
export async function change(work) {
  const database = await open();
  const once = database.transaction(["queue", "kept"], "readwrite", { durability: "strict" });
  const safe = new Promise((done, failed) => {
    once.oncomplete = () => done();
    once.onabort = () => failed(once.error || new Error("The phone did not keep it; is it full?"));
  });
  const result = await work(once.objectStore("queue"), once.objectStore("kept"), answer);
  await safe;
  return result;
}

export async function look(work) {
  const database = await open();
  const once = database.transaction(["queue", "kept"], "readonly");
  return work(once.objectStore("queue"), once.objectStore("kept"), answer);
}

export const remember = (name, value) => change((_, kept) => { kept.put(value, name); });
export const recall = (name) => look((_, kept, result) => result(kept.get(name)));
export const forget = (name) => change((_, kept) => { kept.delete(name); });
