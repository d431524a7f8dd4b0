"""Bench and shelf on a phone: weight of the page, first paint, time of a reading and a search."""

from __future__ import annotations

import statistics
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Browser, sync_playwright

from knowngood.job.events import Envelope, JobClosed, JobOpened, NoteAdded
from knowngood.places.record import Record
from tests.browser.shop import Shop, launch, phone, served

SLOWED = 4  # times, as a phone of a few years ago
PAINTS = 9
READINGS = 21
SMALL, LARGE = 1_000, 100_000
SEARCHES = 15  # times each
ASKED = ("f-00000417", "417x", "okafor", "thick grass", "BM-561 pohl", "nobody of that name")
"""What is typed: a tag's number, the end of a serial, a name, a complaint, a model with a name."""
CUSTOMERS = ("Okafor", "Pohl", "Roth", "Ito", "Silva", "Novak", "Berg", "Haas", "Kim", "Diaz")
COMPLAINTS = ("will not start", "stops in thick grass", "beeps and stops", "smokes a little")


def run() -> dict[str, Any]:
    """Weight and first paint in chromium; server time of a reading with few and many jobs."""
    rows: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as shop:
        job = shop.open_job()
        with sync_playwright() as playwright:
            browser = launch(playwright)
            kilobytes, requests = _weight(browser, shop, job)
            paints = [_first_paint(browser, shop, job) for _ in range(PAINTS)]
            browser.close()
        rows.append(_row("page of the bench, compressed, without pictures", kilobytes, "KB", "150"))
        rows.append(_row("its requests", requests, "", ""))
        paint = statistics.median(paints)
        rows.append(_row(f"first paint, processor slowed {SLOWED} times", paint, "ms", ""))
        few = _reading(shop, _filled(shop, 0, SMALL))
        found_few, shelf_few = _search(shop)
        rows.append(_row(f"take a reading, {SMALL:,} jobs in the record", few, "ms", ""))
        many = _reading(shop, _filled(shop, SMALL, LARGE))
        found_many, shelf_many = _search(shop)
        rows.append(_row(f"take a reading, {LARGE:,} jobs in the record", many, "ms", ""))
        rows.append(_row("ratio of the two", many / few, "", "1.5"))
        for what, one, other in (("a search of the shelf", found_few, found_many),
                                 ("the shelf, all that waits", shelf_few, shelf_many)):  # fmt: skip
            rows.append(_row(f"{what}, {SMALL:,} jobs in the record", one, "ms", ""))
            rows.append(_row(f"{what}, {LARGE:,} jobs in the record", other, "ms", ""))
            rows.append(_row("ratio of the two", other / one, "", "1.5"))
    return {
        "title": "Bench and shelf on a phone",
        "claim": (
            "The page of the bench weighs less than 150 KB; a reading, a search and the shelf take "
            "at most half as long again with 100,000 jobs in the record as with 1,000."
        ),
        "rows": rows,
        "notes": (
            f"Chromium at 390 x 844, nothing in its cache, the server on the same machine. Paint: "
            f"median of {PAINTS}, first contentful paint. Reading: median of {READINGS}, from the "
            f"request sent to the answer read, with 0.15 s at most to plan. "
            f"Search: the whole page of the shelf, mean over {len(ASKED)} kinds of question of the "
            f"median of {SEARCHES}; all but 14 of the jobs are closed."
        ),
        "command": "python -m benchmarks web",
    }


def _row(what: str, value: float, unit: str, limit: str) -> dict[str, Any]:
    return {"what": what, "value": round(value, 2 if value < 10 else 1), "unit": unit,
            "at most": limit}  # fmt: skip


def _weight(browser: Browser, shop: Shop, job: str) -> tuple[float, int]:
    """Kilobytes over the wire until the page is ready, and how many requests brought them."""
    context = phone(browser)
    page = context.new_page()
    sizes: list[float] = []
    wire = context.new_cdp_session(page)
    wire.send("Network.enable")
    wire.on("Network.loadingFinished", lambda one: sizes.append(one["encodedDataLength"]))
    page.goto(f"{shop.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    page.wait_for_timeout(4000)  # the plan for times without network comes a little later
    context.close()
    return sum(sizes) / 1000, len(sizes)


def _first_paint(browser: Browser, shop: Shop, job: str) -> float:
    context = phone(browser)
    page = context.new_page()
    wire = context.new_cdp_session(page)
    wire.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    page.goto(f"{shop.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    found = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    context.close()
    return float(found)


def _filled(shop: Shop, first: int, last: int) -> str:
    """Jobs number `first` to `last` in the record, and one to take readings on; its id."""
    shop.stop()
    now = datetime.now(UTC)
    with Record.open(shop.store) as record:
        start = record.log.all_events()[-1].seq
        record.log.import_events(
            [
                Envelope(
                    start + 2 * (n - first) + step, f"filled-{n}", type(event).__name__, 1,
                    "filler", 2 * n + step, 0, now, now, "UTC", "Sam", event,
                )
                for n in range(first, last)
                for step, event in enumerate(_filler(n), start=1)
            ]
        )  # fmt: skip
    shop.start()
    return shop.open_job()


def _filler(n: int) -> tuple[JobOpened, JobClosed | NoteAdded]:
    """A job and what became of it; the first few still wait."""
    opened = JobOpened(
        f"f-{n:08d}", "mower-battery-56v", "0" * 64, "dead", COMPLAINTS[n % 4],
        f"{CUSTOMERS[n % 10]} {n % 89}", "Brackwater", "BM-561", f"2306A{n:08d}X",
    )  # fmt: skip
    return opened, NoteAdded("waits") if n < 14 else JobClosed("repaired")


def _search(shop: Shop) -> tuple[float, float]:
    """Milliseconds of a search of the shelf and of the shelf itself, from request to answer."""
    with httpx.Client(base_url=shop.local, timeout=60) as client:

        def took(**asked: str) -> float:
            times = []
            for _ in range(SEARCHES + 1):
                started = time.perf_counter()
                client.get("/shelf", params=asked).raise_for_status()
                times.append(1000 * (time.perf_counter() - started))
            return statistics.median(times[1:])

        return statistics.mean(took(q=text) for text in ASKED), took()


def _reading(shop: Shop, job: str) -> float:
    """Median milliseconds of taking a reading back and forth."""
    took = []
    with httpx.Client(base_url=shop.local, timeout=60) as client:
        for n in range(1, READINGS + 2):
            entry = {
                "device_seq": n, "kind": "ReadingTaken", "by": "Sam",
                "device_time": datetime.now(UTC).isoformat(),
                "body": {"reading_id": f"r{n}", "test": "pack_rest", "text": f"57.{n % 10} V"},
            }  # fmt: skip
            batch = {"device": f"meter-{job[:8]}", "events": [entry]}
            started = time.perf_counter()
            answer = client.post(f"/api/jobs/{job}/events", json=batch)
            took.append(1000 * (time.perf_counter() - started))
            assert answer.json()["results"][0]["status"] == "stored", answer.text
    return statistics.median(took[1:])  # the first one reads the machine file
