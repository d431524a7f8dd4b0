"""The places of the shop as pages in a browser, on the shop's own network.

How a screen is added:

1. A module of this room, `web/shelf.py`, with `router = APIRouter()` and its pages:

       @router.get("/shelf", response_class=HTMLResponse, include_in_schema=False)
       def shelf(request: Request) -> Response:
           here = here_of(request)
           return here.page("shelf.html", request, jobs=waiting(here.record))

   What it shows comes from a place (`knowngood.places`); a page decides nothing. Add the router to
   `SCREENS` in `web/app.py`, and a line to `PLACES` there to have it in the bar at the top.
2. `templates/shelf.html` begins with `{% extends "page.html" %}` and fills the blocks `title`,
   `main`, and `modules` (its own ES modules). Jinja escapes all text; nothing is marked safe.
3. What a tap writes goes through the outbox of the phone, never straight to the server:

       import { keep } from "/static/outbox.js";
       await keep({ job, kind: "NoteAdded", body: { text } });

   `keep` returns when the entry is safe on the phone. With `picture: ArrayBuffer` the picture is
   sent before it. `new_id()` makes ids for what the phone starts (a job, a reading).
   `watch(listener)` tells `{ unsent, refused, reached }`, `on_view(listener)` each fresh job.
4. On the server `TAKERS` in `web/takers.py` names, for each kind, the function of a place that
   takes it: `(record, job, body, at) -> View | None`. A screen adds its own by
   `TAKERS["JobOpened"] = check_in`. A taker raises `Refused` with the way out; the entry then stays
   on the phone, marked. Everything in one entry is stored in one transaction or not at all.
5. Styles: `static/bench.css` has the few shapes (card, key, line, mark); sizes in its `:root`.
   Keys are at least 56 px high and 8 px apart; no colour without a word or a shape.

Rules of this room: plain ES modules, no framework; nothing that needs a secure context
(crypto.randomUUID, crypto.subtle, Cache, getUserMedia, navigator.locks); no inline script or style
(the pages forbid it by their policy); a page can be reloaded at any moment.
"""
