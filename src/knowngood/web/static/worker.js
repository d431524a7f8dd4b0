// Opens the pages of the shop without a network: what was seen last is kept and shown when the
// shop's computer is not reached. Entries are not its business; they lie in the outbox.
// SHELL and KEPT stand before this text, from the server.

const PATIENCE = 4000; // milliseconds before what is kept is shown

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const kept = await caches.open(KEPT);
    await Promise.all(SHELL.map((one) => kept.add(new Request(one, { cache: "reload" })).catch(() => {})));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const at = new URL(request.url);
  if (request.method !== "GET" || at.origin !== location.origin) return;
  if (/^\/(worker\.js|backup|authority\.crt)/.test(at.pathname) || at.pathname.endsWith(".pdf")) return;
  if (at.pathname.startsWith("/api/") && !at.pathname.startsWith("/api/pictures/")) return;
  event.respondWith(answer(request, at));
});

async function answer(request, at) {
  const kept = await caches.open(KEPT);
  const asked = fetch(request).then((response) => {
    if (response.ok && !response.redirected && response.type === "basic") kept.put(request, response.clone());
    return response;
  });
  const there = await kept.match(request, { ignoreVary: true });
  if (!there) return asked.catch(() => missing(request, at));
  const late = new Promise((done) => { setTimeout(() => done(there.clone()), PATIENCE); });
  return Promise.race([asked.catch(() => there.clone()), late]);
}

function missing(request, at) {
  if (request.mode !== "navigate") return Response.error();
  const text = `<!doctype html><html lang="en"><meta charset="utf-8">
    <meta name="viewport" content="width=device-width, initial-scale=1"><title>No contact</title>
    <link rel="stylesheet" href="/static/bench.css"><main><h1>No contact</h1>
    <p class="card loud">The shop's computer is not reached, and this page was not opened on this
    phone before. What was entered is kept.</p>
    <p><a class="key" href="/phone">This phone's queue</a> <a class="key" href="${at.pathname.replace(/[^\w/.-]/g, "")}">Try again</a></p></main></html>`;
  return new Response(text, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}
