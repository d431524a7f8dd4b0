"""Paperwork in chromium: readable, reachable, and no second tap counts."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from knowngood.job.events import JobClosed, MinutesNoted
from knowngood.job.paperwork import ClaimSent
from knowngood.places import decision
from knowngood.places.bench import take_reading
from knowngood.places.parts import take_list, try_list
from knowngood.places.record import At, Record
from tests.browser.shop import Shop
from tests.browser.test_whole_walk import axe
from tests.places.conftest import SMALL, at
from tests.places.test_paperwork import PRICES
from tests.shop.test_cover import FILE
from tests.shop.test_pricelist import LIST

pytestmark = pytest.mark.slow

FEW_PIXELS = 56


def decided(shop: Shop) -> str:
    job = shop.open_job(str(SMALL), "dead", model="BT-5", serial="5120")
    with Record.open(shop.store) as record:
        trial = try_list(record, "Brackwater", "USD", PRICES.encode(), "list.csv", None)
        take_list(record, trial, PRICES, at(0))
        take_reading(record, job, "pack_rest", "57.9 V", at(3))
        take_reading(record, job, "box_ohms", "OL", at(9))
        take_reading(record, job, "box_ohms", "OL", at(9))
        decision.decide(record, job, at(10))
    return job


def fits(page: Page) -> None:
    page.wait_for_load_state()  # with its style sheet
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    small = page.locator("main .key:visible, main summary:visible").evaluate_all(
        "all => all.map(e => [e.innerText, e.getBoundingClientRect().height])"
    )
    assert small
    assert [one for one in small if one[1] < FEW_PIXELS] == []
    assert axe(page) == []


def test_from_cover_to_money_under_warranty(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = decided(running)
    (tmp_path / "brackwater.yaml").write_text(FILE, encoding="utf-8")
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.goto(f"{running.address}/job/{job}/papers")
    fits(page)
    page.set_input_files("#programme-file", str(tmp_path / "brackwater.yaml"))
    page.click("text=Under this programme")
    expect(page.locator("#answer")).to_contain_text("Can't say")
    page.select_option("#use", "household")
    page.fill("#purchased", (date.today() - timedelta(400)).isoformat())
    page.fill("#failed", (date.today() - timedelta(2)).isoformat())
    page.check("input[name='proof']")
    for name in ("water", "opened"):
        page.check(f"input[name='answer-{name}'][value='no']")
    page.click("text=Note it")
    expect(page.locator("#answer")).to_contain_text("Covered")
    expect(page.locator("#lacks")).to_contain_text("a picture of the plate")
    fits(page)
    page.click("#send summary")
    page.fill("#number", "CL-7")
    page.dblclick("#send button")
    expect(page.locator("#course")).to_contain_text("Sent today, no answer yet")
    page.click("#answer-form summary")
    page.check("input[name='reply'][value='accepted']")
    page.click("#answer-form button")
    expect(page.locator("#course")).to_contain_text("Accepted")  # the page is the new one
    worth = page.locator("#worth").inner_text()
    page.click("#paid summary")
    page.fill("#amount", worth)
    page.click("#paid button")
    expect(page.locator("#course")).to_contain_text("Accepted, paid")
    page.goto(f"{running.address}/paperwork")
    fits(page)


def test_what_cannot_be_is_said_in_place(running: Shop, hand: BrowserContext) -> None:
    job = decided(running)
    page = hand.new_page()
    page.goto(f"{running.address}/job/{job}/papers")
    page.click("text=Write an estimate")
    page.fill("#lines", "part; box; 1.000")
    page.click("text=This is the estimate")
    expect(page.locator("#problem")).to_contain_text("may be 1000 or 1.000")
    expect(page.locator("#lines")).to_have_value("part; box; 1.000")
    fits(page)


def test_pages_seldom_opened_are_readable_too(running: Shop, hand: BrowserContext) -> None:
    """The bench's own page, what is next on the shelf, how mail goes out, a letter of a job."""
    job = decided(running)
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    for path in ("bench", "shelf/next", "paperwork/mail", f"job/{job}/mail?about=claim"):
        answer = page.goto(f"{running.address}/{path}")
        assert answer is not None and answer.ok, path
        page.wait_for_load_state()
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        taps = page.locator("main :is(.key, .row, .wait, summary):visible").evaluate_all(
            "all => all.map(e => e.getBoundingClientRect().height)"
        )
        assert taps and min(taps) >= FEW_PIXELS, path
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        assert axe(page) == [], path


def test_parts_on_a_phone(running: Shop, hand: BrowserContext, tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.goto(f"{running.address}/parts")
    fits(page)
    page.click("#list summary")
    page.fill("#maker", "Brackwater")
    page.fill("#list-currency", "USD")
    page.set_input_files("#list-file", str(tmp_path / "list.csv"))
    page.click("text=Take it")
    expect(page.locator("#said")).to_contain_text("Taken: 4 parts of Brackwater.")
    page.fill("#q", "start")
    page.keyboard.press("Enter")
    expect(page.locator(".waiting")).to_contain_text("order BW-212")
    fits(page)
    parts_while_typing(page)


def parts_while_typing(page: Page) -> None:
    """What is found follows the field, whichever answer comes first; nothing found is said."""
    found, none = page.locator("#found"), page.locator("#none")
    page.fill("#q", "")
    expect(found.locator("li")).to_have_count(0)
    page.locator("#q").press_sequentially("contr")
    expect(found.locator("li")).to_have_count(1)
    expect(found).to_contain_text("BW-310 Controller")
    expect(found).to_contain_text("1160.00 USD Brackwater")
    page.fill("#q", "bw-21")
    expect(found.locator("b")).to_have_text(["BW-210", "BW-212"])
    expect(found.locator(".mind")).to_have_text("became BW-212: look it up before it is ordered")

    held: list[Route] = []

    def hold(route: Route) -> None:  # a function of its own: a list's append takes no marks
        held.append(route)

    page.route("**/api/parts?q=pack", hold)  # its answer comes after the next one
    with page.expect_request("**/api/parts?q=pack"):
        page.fill("#q", "pack")
    page.fill("#q", "start box")
    expect(found.locator("b")).to_have_text(["BW-210", "BW-212"])
    with page.expect_response("**/api/parts?q=pack") as late:
        held[0].continue_()
    late.value.finished()
    page.evaluate("new Promise((done) => setTimeout(done))")
    expect(found.locator("b")).to_have_text(["BW-210", "BW-212"])

    page.fill("#q", "flux <b>")
    expect(none).to_have_text("No list has “flux <b>”.")
    expect(found.locator(".card")).to_have_count(0)
    page.fill("#q", "box")
    expect(none).to_have_count(0)
    page.route("**/api/parts?q=motor", lambda route: route.abort())
    page.fill("#q", "motor")
    expect(none).to_contain_text("press Find to try again")
    expect(found.locator(".card")).to_have_count(0)


def test_figures_as_plots_on_a_phone(running: Shop, hand: BrowserContext) -> None:
    job = decided(running)
    today = date.today()
    with Record.open(running.store) as record:
        sent = (today - timedelta(40)).isoformat()
        record.append(job, [ClaimSent("owed", sent, "84.00", "USD")], at(11))
        now = At(datetime.now(UTC).astimezone(), "Sam")
        record.append(job, [MinutesNoted("mend", 42.0), JobClosed("repaired")], now)
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.goto(f"{running.address}/paperwork/figures?since={today - timedelta(200)}")
    for name in ("turnaround", "mended", "minutes", "owed-USD"):
        expect(page.locator(f"#plot-{name} svg")).to_be_visible()
    label = page.locator("#plot-owed-USD svg").get_attribute("aria-label")
    assert label is not None and "up to 60 days 84" in label
    small = page.locator(".plot text").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    assert min(small) >= 12  # CSS pixels
    fits(page)
    if shots := os.environ.get("SHOTS"):
        page.screenshot(path=shots, full_page=True)
    page.click("#months summary")
    fits(page)
    with page.expect_download() as taken:
        page.click("#plot-turnaround a")
    assert taken.value.suggested_filename == "turnaround.svg"
    assert "<script" not in taken.value.path().read_text(encoding="utf-8")
