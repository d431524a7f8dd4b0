"""Nothing is lost: server killed at random, page reloaded, phone alone with its plan."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect
from playwright.sync_api import Error as BrowserError

from knowngood.job.events import PictureAdded, ReadingTaken
from knowngood.places.record import Record
from tests.browser.shop import Shop, at_bench
from tests.browser.test_bench import jpeg, settled, to_volts
from tests.browser.test_counter import newest, opened, ready

READINGS, PICTURES, SEED = 30, 12, 20261

OUTBOX = """
async ([job, kind, body]) => {
  const { keep } = await import("/static/outbox.js");
  await keep({ job, kind, body });
}
"""


PLAN_THERE = """
async (job) => {
  const { recall } = await import("/static/kept.js");
  const [plan, view] = [await recall(`plan:${job}`), await recall(`view:${job}`)];
  return Boolean(plan && view && plan.seq === view.seq);
}
"""
CAMERA_SHUT = """
async () => !(await (await import("/static/kept.js")).recall("camera"))
"""


PLAN = "async (job) => (await import('/static/kept.js')).recall(`plan:${job}`)"


def answer_as_planned(page: Page, branches: list[dict[str, Any]]) -> None:
    """The likeliest outcome of the step in front: a key, or a number in the middle of its band."""
    branch = max((b for b in branches if "do" in b["next"]), key=lambda b: b["chance"])
    outcome, low, high = branch["outcomes"][0], branch["low"], branch["high"]
    if outcome in ("yes", "no"):
        page.click(f"#slot-entry .answer:has-text('{outcome.capitalize()}')")
    elif outcome == "over":
        page.click("#pad .key:text-is('OL')")
    else:
        low = 0.5 * high if low is None else low
        middle = 2 * low if high is None else (low + high) / 2
        page.fill("#reading", f"{middle:.4g} {branch['unit']}")
        page.click("#take")


def until(page: Page, true: str, given: str | None = None) -> None:
    """Wait until this (async) function of the page answers true."""
    end = time.monotonic() + 20
    while not page.evaluate(true, given):
        assert time.monotonic() < end, f"never true: {true}"
        time.sleep(0.05)


@contextmanager
def power_cuts(shop: Shop, job: str, seed: int) -> Iterator[list[int]]:
    """Kill the server at random moments and start it again, until the end of the block.

    Half of the times it has answered for the job before, so that work gets on on a slow machine.
    """
    chance, done, count = random.Random(seed), threading.Event(), [0]

    def work() -> None:
        while not done.wait(chance.uniform(1.0, 18.0)):  # some cuts within a page load, some after
            shop.kill()
            count[0] += 1
            time.sleep(chance.uniform(0.2, 3.0))
            shop.start(wait=False)
            shop.ready()
            if chance.random() < 0.5:
                httpx.get(f"{shop.local}/api/jobs/{job}", timeout=120)

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield count
    finally:
        done.set()
        thread.join()


def reloaded(page: Page) -> None:
    """Reload until the server answers; in between the phone shows its own page of no contact."""
    end = time.monotonic() + 180  # a busy machine takes its time to start the server
    while time.monotonic() < end:
        try:
            page.reload(timeout=15_000)
            page.wait_for_selector("[data-ready]", timeout=15_000)
            return
        except BrowserError:
            time.sleep(0.2)
    raise AssertionError("the page never came back")


@pytest.mark.slow
def test_every_reading_and_picture_arrives_once_and_in_order(
    shop: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = shop.open_job()
    page = at_bench(hand, shop, job)
    to_volts(page)
    chance = random.Random(SEED)
    todo = [f"{50 + n / 10:.1f} V" for n in range(READINGS)]
    todo += [f"picture {n}" for n in range(PICTURES)]
    chance.shuffle(todo)
    shots = [jpeg(tmp_path, f"{n}.jpg", (400 + n, 300)) for n in range(PICTURES)]
    with power_cuts(shop, job, SEED) as cuts:
        for one in todo:
            if one.startswith("picture"):
                with page.expect_file_chooser() as chooser:
                    page.click("#camera")
                chooser.value.set_files(shots[int(one.split()[1])])
                until(page, CAMERA_SHUT)
            else:
                enter(page, job, one)
            if chance.random() < 0.3:
                reloaded(page)
        while cuts[0] < 3:
            time.sleep(0.5)
    shop.ready()
    expect(page.locator("#unsent")).to_have_attribute("data-count", "0", timeout=240_000)
    with Record.open(shop.store) as record:
        events = record.log.events(job)
    read = [e.event.text for e in events if isinstance(e.event, ReadingTaken)]
    assert read == [one for one in todo if not one.startswith("picture")]
    kept = [e for e in events if isinstance(e.event, PictureAdded)]
    assert len(kept) == len({e.event.digest for e in kept if isinstance(e.event, PictureAdded)})
    assert len(kept) == PICTURES
    mine = [e for e in events if isinstance(e.event, ReadingTaken | PictureAdded)]
    assert [e.device_seq for e in mine] == sorted(e.device_seq for e in mine)
    with Record.open(shop.store) as record:
        arrived = [_name_of(record, e.event) for e in mine]
    assert arrived == todo


def _name_of(record: Record, event: object) -> str:
    """An entry as the test named it: pictures are told apart by their width."""
    if isinstance(event, ReadingTaken):
        return event.text
    assert isinstance(event, PictureAdded)
    with Image.open(record.files.path_of(event.digest)) as picture:
        return f"picture {picture.width - 400}"


def enter(page: Page, job: str, text: str) -> None:
    """By the keypad where the step is one of numbers, else through the phone's outbox."""
    field = page.locator("#reading")
    asked = (field.get_attribute("aria-label") or "") if field.count() else ""
    if "volts" in asked and "capacitor" not in asked:
        page.fill("#reading", text)
        page.click("#take")
        page.wait_for_selector("#bench[data-asking='']")
        return
    body = {"reading_id": f"r{text[:4]}", "test": "pack_rest", "text": text}
    page.evaluate(OUTBOX, [job, "ReadingTaken", body])


@pytest.mark.slow
def test_alone_the_phone_walks_its_plan_and_says_so(shop: Shop, hand: BrowserContext) -> None:
    job = shop.open_job()
    page = at_bench(hand, shop, job)
    page.click("#looked")
    settled(page)
    until(page, PLAN_THERE, job)
    plan = page.evaluate(PLAN, job)
    first = page.inner_text("#step .step-words")
    shop.kill()
    answer_as_planned(page, plan["policy"]["then"])
    expect(page.locator("#slot-ahead")).to_contain_text("provisional", timeout=8000)
    assert page.inner_text("#slot-ahead .step-words") != first
    expect(page.locator("#unsent")).to_contain_text("1 unsent, no contact")
    shop.start()
    settled(page)
    expect(page.locator("#slot-ahead")).not_to_contain_text("provisional")
    with Record.open(shop.store) as record:
        there = record.log.job(job)
    assert there is not None and there.live_readings[-1].sentence


@pytest.mark.slow
def test_another_meter_suspends_the_advice_of_the_phone(shop: Shop, hand: BrowserContext) -> None:
    page = at_bench(hand, shop, shop.open_job())
    page.click("#looked")
    settled(page)
    shop.kill()
    page.click("#meter")
    page.click("dialog >> text=generic-2000")
    expect(page.locator("#waits")).to_contain_text("Advice waits", timeout=8000)
    shop.start()
    expect(page.locator("#meter")).to_have_text("Meter: generic-2000", timeout=60_000)
    assert page.locator("#waits").count() == 0
    ready(opened(hand, shop, "/counter/new")).click("#check-in")  # the phone remembers its meter
    hand.pages[-1].wait_for_selector("#tag-62")
    assert newest(shop).meter == "generic-2000"


def test_nothing_needs_a_secure_context(running: Shop, hand: BrowserContext) -> None:
    """Plain HTTP by name or address in the shop's network is no secure context (W3C)."""
    page = at_bench(hand, running, running.open_job())
    assert page.evaluate("isSecureContext") is False
    assert page.evaluate("typeof crypto.randomUUID + typeof globalThis.caches") == (
        "undefinedundefined"
    )
