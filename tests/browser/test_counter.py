"""The counter on a phone: check-in to a tag in few taps, alone too; pickup; the shop's sheet."""

from __future__ import annotations

import io
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from knowngood.job.job import Job
from knowngood.places.record import Record
from tests.browser.shop import Shop, phone
from tests.browser.test_bench import NASTY, jpeg

TAPS = 12  # for a known customer and model
AXE = resources.files("axe_playwright_python") / "axe.min.js"
COUNTING = """
window.taps = 0;
addEventListener('click', (event) => {
  if (!event.target.closest('input:not([type=file]), textarea')) window.taps += 1;
}, true);
window.signs = 0;
addEventListener('keydown', (event) => { if (event.key.length === 1) window.signs += 1; }, true);
"""
SECONDS = 30  # limit set for a known customer and model
A_TAP, SIGNS_A_SECOND, A_PICTURE = 0.8, 3.0, 4.0
"""A person's hands: 0.8 s to find and touch a key; 36 words of five signs a minute with two thumbs
on a phone (Palin and others 2019, "How do people type on mobile devices?", from memory), where a
keyboard of keys takes five signs a second (Card, Moran and Newell 1980, from memory)."""
KEYS = """
() => [...document.querySelectorAll('main .key, main summary, .bar a, .bar button')]
  .filter(k => k.checkVisibility() && !k.closest('.bottom'))
  .map(k => { const r = k.getBoundingClientRect();
    return [k.innerText, r.left, r.top, r.right, r.bottom]; })
"""


@pytest.fixture(params=["phone", "desktop"])
def desk(request: pytest.FixtureRequest, browser: Browser) -> Iterator[BrowserContext]:
    size = None if request.param == "phone" else {"width": 1280, "height": 900}
    context = phone(browser, size)
    yield context
    context.close()


def opened(context: BrowserContext, shop: Shop, path: str) -> Page:
    page = context.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.goto(f"{shop.address}{path}")
    return page


def ready(page: Page) -> Page:
    page.wait_for_selector("#counter[data-ready]")
    return page


def newest(shop: Shop) -> Job:
    with Record.open(shop.store) as record:
        events = record.log.of_kinds(["JobOpened"])
        found = record.log.job(events[-1].job)
    assert found is not None
    return found


def sent(page: Page) -> None:
    expect(page.locator("#unsent")).to_have_attribute("data-count", "0", timeout=60_000)


def in_seconds(page: Page, taps: int, pictures: int = 0) -> float:
    """How long a person's hands need for what was just done, by arithmetic."""
    signs = int(page.evaluate("window.signs"))
    took = taps * A_TAP + signs / SIGNS_A_SECOND + pictures * A_PICTURE
    print(f"{taps} taps, {signs} signs, {pictures} pictures: {took:.1f} s")
    assert signs > 20  # they were counted
    return took


def check_axe(page: Page) -> None:
    """No violation of axe's rules."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run().then(r => r.violations.map(v => [v.id, v.nodes[0].html]))")
    assert found == []


def check_keys(page: Page, wide: int) -> None:
    """56 px and more, 8 px apart; nothing wider than the screen."""
    rows = page.evaluate(KEYS)
    assert [r for r in rows if r[3] - r[1] < 55.9 or r[4] - r[2] < 55.9] == []
    close = [
        (a[0], b[0])
        for n, a in enumerate(rows)
        for b in rows[n + 1 :]
        if max(b[1] - a[3], a[1] - b[3]) < 7.9 and max(b[2] - a[4], a[2] - b[4]) < 7.9
        and not (a[3] - a[1] > 330 and b[3] - b[1] > 330)  # lines that unfold, one below the other
    ]  # fmt: skip
    assert close == []
    assert page.evaluate("document.documentElement.scrollWidth") <= wide


def test_known_customer_and_machine_in_few_taps(
    running: Shop, desk: BrowserContext, tmp_path: Path
) -> None:
    running.open_job(customer="Ana Pohl", serial="2306A00417")
    page = opened(desk, running, "/counter")
    page.evaluate(COUNTING)
    page.click("#check-in")
    taps, typed = 1, 0
    ready(page)
    page.evaluate(COUNTING)
    page.locator("#customer").press_sequentially("ana po")
    page.locator("#customers .key").first.click()
    page.locator("#theirs .key").first.click()
    expect(page.locator("#before")).to_contain_text("Was here before")
    page.locator("#words").press_sequentially("Cuts out when I mow up the hill")
    expect(page.locator("#near .key").first).to_contain_text("slopes")
    page.locator("#near .key").first.click()
    with page.expect_file_chooser() as chooser:
        page.click("#plate")
    chooser.value.set_files(jpeg(tmp_path, "plate.jpg", (900, 600)))
    expect(page.locator("#plate")).to_contain_text("1 of the plate")
    page.locator("#pack-0").press_sequentially("BP-1187")
    page.locator("#unsafe .key").first.click()
    page.locator("#came .key:has-text('charger')").click()
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    sent(page)
    typed = 3  # customer, words, serial of the pack
    taps += page.evaluate("window.taps") + typed
    assert taps <= TAPS
    assert in_seconds(page, taps, pictures=1) <= SECONDS
    job = newest(running)
    assert page.inner_text("#job-number") == job.number
    expect(page.locator("#done")).not_to_contain_text("null")
    it = job.opened
    assert it is not None
    assert (it.customer, it.serial) == ("Ana Pohl", "2306A00417")
    assert (it.machine_id, it.complaint) == ("mower-battery-56v", "cuts_out_slopes")
    assert [p.serial for p in job.counter.packs] == ["BP-1187"]
    assert job.counter.accessories == ("charger",)
    assert job.counter.comeback is not None
    assert [p.about for p in job.pictures] == ["plate"]
    tag = page.request.get(f"{running.local}/job/{job.id}/tag.pdf?size=62")
    assert tag.body().startswith(b"%PDF")


def test_known_customer_with_a_new_machine_of_a_known_model(
    running: Shop, hand: BrowserContext
) -> None:
    running.open_job(customer="Ana Pohl")
    page = opened(hand, running, "/counter")
    page.click("#check-in")
    ready(page)
    page.evaluate(COUNTING)
    page.locator("#customer").press_sequentially("pohl")
    page.locator("#customers .key").first.click()
    page.locator("#model").press_sequentially("tw-5")
    page.locator("#models .key").first.click()
    page.locator("#serial").press_sequentially("TW0099")
    page.locator("#words").press_sequentially("dead, nothing happens")
    expect(page.locator("#near .key").first).to_contain_text("Dead")
    page.locator("#near .key").first.click()
    page.locator("#pack-0").press_sequentially("P-7")
    page.locator("#unsafe .key").first.click()
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    typed = 5  # customer, model, serial, words, serial of the pack
    taps = 1 + page.evaluate("window.taps") + typed
    assert taps <= TAPS
    assert in_seconds(page, taps) <= SECONDS
    job = newest(running)
    assert job.opened is not None
    assert (job.opened.maker, job.opened.model, job.opened.serial) == ("Tolmin", "TW-560", "TW0099")
    assert job.counter.comeback is None


def test_an_empty_form_is_a_check_in(running: Shop, hand: BrowserContext) -> None:
    page = ready(opened(hand, running, "/counter/new"))
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    job = newest(running)
    assert job.opened is not None and job.opened.machine_digest == ""
    page.click("#to-sheet")
    ready(page)
    page.locator("#machine .key").nth(1).click()
    page.locator("#machine .key").first.click()
    expect(page.locator("a:has-text('To the bench')")).to_be_visible(timeout=60_000)
    assert newest(running).machine_digest


def test_a_machine_is_found_by_what_it_is(running: Shop, hand: BrowserContext) -> None:
    page = hand.new_page()
    page.goto(f"{running.address}/counter/new")
    page.fill("#model", "chainsaw")
    expect(page.locator("#models")).to_contain_text("chainsaw")


def test_an_unsafe_pack_stops_everything(running: Shop, hand: BrowserContext) -> None:
    page = ready(opened(hand, running, "/counter/new"))
    assert page.locator("#stop").count() == 0
    page.locator("#unsafe .key").nth(1).click()
    for words in ("Do not charge it", "do not open it", "outdoors", "Local rules come first"):
        expect(page.locator("#stop")).to_contain_text(words)
    page.locator(".pack .key:has-text('swollen')").click()
    check_axe(page)
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    expect(page.locator("#stop")).to_be_visible()
    (pack,) = newest(running).counter.packs
    assert pack.trouble == ("swollen",)
    page.click("#to-sheet")
    ready(page)
    expect(page.locator("#stop")).to_be_visible()


def test_alone_then_the_computer_comes_back(shop: Shop, hand: BrowserContext) -> None:
    """The server killed: the form still suggests, the check-in is kept, it arrives exactly once."""
    shop.open_job(customer="Ana Pohl")
    page = ready(opened(hand, shop, "/counter/new"))
    shop.kill()
    page.fill("#customer", "ana")
    page.locator("#customers .key").first.click()
    page.locator("#theirs .key").first.click()
    page.fill("#words", "It is dead again")
    page.locator("#near .key:has-text('Dead')").click()
    page.click("#check-in")
    expect(page.locator("#done")).to_contain_text("kept on this phone")
    sign = page.inner_text("#job-number")
    expect(page.locator("#unsent")).to_have_attribute("data-count", "1")
    shop.start()
    page.wait_for_selector("#tag-62", timeout=60_000)
    sent(page)
    with Record.open(shop.store) as record:
        events = record.log.of_kinds(["JobOpened"])
    assert len(events) == 2
    assert events[-1].job.startswith(sign)
    assert page.inner_text("#job-number") == newest(shop).number != sign


def test_the_form_outlives_the_page(running: Shop, hand: BrowserContext, tmp_path: Path) -> None:
    page = ready(opened(hand, running, "/counter/new"))
    page.fill("#customer", "Nils Berg")
    page.fill("#words", NASTY)
    with page.expect_file_chooser():
        page.click("#plate")
    page.reload()  # what a phone does that needs the memory for its camera
    ready(page)
    assert page.input_value("#customer") == "Nils Berg"
    expect(page.locator("main")).to_contain_text("put this page away")
    with page.expect_file_chooser() as chooser:
        page.click("#plate")
    chooser.value.set_files(jpeg(tmp_path, size=(640, 480)))
    expect(page.locator("#plate")).to_contain_text("1 of the plate")
    page.reload()
    ready(page)
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    sent(page)
    job = newest(running)
    assert job.opened is not None and job.opened.customer_words == NASTY
    assert len(job.pictures) == 1
    page.click("#to-sheet")
    ready(page)
    assert page.locator("main img[src='x']").count() == 0


def draw(page: Page) -> None:
    page.locator("#sign").scroll_into_view_if_needed()
    box = page.locator("#sign").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 30, box["y"] + 60)
    page.mouse.down()
    for step in range(10):
        page.mouse.move(box["x"] + 30 + 20 * step, box["y"] + 60 - 30 * (step % 2))
    page.mouse.up()


def test_pickup_with_a_signature(running: Shop, desk: BrowserContext) -> None:
    page = ready(opened(desk, running, "/counter/new"))
    page.fill("#customer", "Ana Pohl")
    page.fill("#model", "BM-561")
    page.locator("#models .key").first.click()
    page.fill("#pack-0", "BP-1")
    page.locator("#came .key:has-text('charger')").click()
    page.click("#check-in")
    page.click("#to-sheet")
    ready(page)
    check_axe(page)
    wide = page.viewport_size["width"] if page.viewport_size else 0
    check_keys(page, wide)
    page.click("#to-pickup")
    ready(page)
    expect(page.locator("#held")).to_contain_text("12 safety checks not made")
    assert page.locator("#hand-back").count() == 0
    check_axe(page)
    page.click("#override-fold summary")
    page.fill("#by", "Ida")
    page.click("#override")  # without a reason nothing happens
    assert page.locator("#hand-back").count() == 0
    page.fill("#reason", "sold for parts")
    page.click("#override")
    page.wait_for_selector("#hand-back")
    expect(page.locator("main")).to_contain_text("by Ida: sold for parts")
    page.locator(".key:has-text('serial BP-1')").click()
    expect(page.locator("#left")).to_contain_text("charger")
    page.locator(".key:has-text('not paid')").click()
    expect(page.locator("main")).to_contain_text("Paid? not paid")
    page.locator(".key:has-text('returned unrepaired')").click()
    check_axe(page)
    check_keys(page, wide)
    draw(page)
    page.click("#hand-back")
    page.wait_for_selector("#handed")
    expect(page.locator(".signed")).to_be_visible()
    check_axe(page)
    job = newest(running)
    assert job.counter.handed is not None and job.closed is not None
    assert job.closed.outcome == "returned unrepaired"
    assert job.counter.handed.packs == (job.counter.packs[0].pack,)
    assert job.counter.handed.stays == ("charger",)
    with Record.open(running.store) as record:
        data = record.files.data_of(job.counter.handed.signature)
    drawn = Image.open(io.BytesIO(data)).convert("L")
    assert drawn.getextrema()[0] < 60 and drawn.size == (680, 240)


def test_the_shops_sheet_prints_on_the_papers(shop: Shop, hand: BrowserContext) -> None:
    page = ready(opened(hand, shop, "/shop"))
    expect(page.locator("main")).to_contain_text("no account")
    page.fill("#name", "Alder Lane Small Engine & Cordless")
    page.click("#add-person")
    page.fill("#person-0", "Ida")
    page.fill("#fee", "45 USD to look")
    page.fill("#bench_rate", "ninety")
    page.click("#save")
    expect(page.locator("main")).to_contain_text("Not kept: ninety is no number")
    page.fill("#bench_rate", "84,50")
    check_axe(page)
    check_keys(page, 390)
    page.click("#save")
    expect(page.locator("main")).to_contain_text("✓ kept")
    sent(page)
    page.goto(f"{shop.address}/")
    page.locator("#who-here .key:has-text('Ida')").click()  # one tap
    expect(page.locator("#who")).to_have_text("Ida")
    check_axe(page)
    check_keys(page, 390)
    page.goto(f"{shop.address}/counter")
    assert page.locator("#who-here .key").count() == 0  # the phone remembers
    check_axe(page)
    check_keys(page, 390)
    page.click("#check-in")
    ready(page)
    expect(page.locator("main")).to_contain_text("45 USD to look")
    check_axe(page)
    check_keys(page, 390)
    page.fill("#model", "BM-561")
    page.locator("#models .key").first.click()
    page.locator("summary").first.click()
    check_axe(page)
    check_keys(page, 390)
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    check_axe(page)
    check_keys(page, 390)
    with Record.open(shop.store) as record:
        job = record.log.job(record.log.of_kinds(["JobOpened"])[-1].job)
    assert job is not None and job.opened_at is not None and job.opened_at.by == "Ida"
    assert job.counter.fee == "45 USD to look"
