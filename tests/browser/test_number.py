"""Why the part decided on has no number: on the phone's card and on the page of parts."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, expect

from tests.browser.shop import Shop, at_bench
from tests.browser.test_apart import SMALL, decided
from tests.browser.test_bench import job_of, settled

BY_SERIAL = "he number of controller goes by the serial"


def test_the_serial_is_asked_for_and_its_number_taken(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job(SMALL, serial="", model="BT-5")
    decided(running, job)
    page = at_bench(hand, running, job)
    expect(page.locator("#decided .no-number")).to_contain_text(f"T{BY_SERIAL}: note it below")
    page.goto(f"{running.address}/parts")
    expect(page.locator("main")).to_contain_text(f"wants Controller: t{BY_SERIAL}.")
    page.goto(f"{running.address}/job/{job}/bench")
    page.evaluate("document.getElementById('details').open = true")
    page.fill("#f-detail-serial", "5120")
    page.click("#keep-details")
    settled(page)
    card = page.locator("#decided .no-number")
    expect(card).to_contain_text("The number of controller is BW-311, known since it was decided.")
    card.locator("button").click()
    settled(page)
    expect(page.locator("#decided")).to_contain_text("Number BW-311")
    assert page.locator("#decided .no-number").count() == 0
    decision = job_of(running, job).decision
    assert decision is not None and decision.number == "BW-311"
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
