"""Pictures of the paperwork and of what the shop has learned, as a phone of 390 x 844 shows them.

    python docs/pictures/make_books.py

As make_library.py; the jobs, the programme and the readings are those of the tests.
"""

from __future__ import annotations

import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from screenshot import picture

from knowngood.places import decision
from knowngood.places.bench import take_reading
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import At, Record
from tests.browser.shop import Shop, launch, phone, served
from tests.places.conftest import SMALL
from tests.places.mended import mended
from tests.shop.test_cover import FILE
from tests.shop.test_pricelist import LIST


def paperwork(page: Page, shop: Shop, folder: Path) -> None:
    """From the programme's file to a claim on its way, and the day's list of papers."""
    job = shop.open_job(str(SMALL), "dead", model="BT-5", serial="5120")
    now = datetime.now(UTC).astimezone()
    with Record.open(shop.store) as record:
        for test, text in (("pack_rest", "57.9 V"), ("box_ohms", "OL"), ("box_ohms", "OL")):
            take_reading(record, job, test, text, At(now, "Ana"))
        decision.decide(record, job, At(now, "Ana"))
    (folder / "brackwater.yaml").write_text(FILE, encoding="utf-8")
    page.goto(f"{shop.address}/job/{job}/papers")
    picture(page, "papers")
    page.set_input_files("#programme-file", str(folder / "brackwater.yaml"))
    page.click("text=Under this programme")
    page.wait_for_selector("#answer")
    page.select_option("#use", "household")
    page.fill("#purchased", (date.today() - timedelta(400)).isoformat())
    page.fill("#failed", (date.today() - timedelta(2)).isoformat())
    page.check("input[name='proof']")
    for name in ("water", "opened"):
        page.check(f"input[name='answer-{name}'][value='no']")
    picture(page, "papers-cover", "#cover")
    page.click("text=Note it")
    page.wait_for_selector("#lacks")
    picture(page, "papers-claim", "#programme")
    picture(page, "papers-lacks", "#claim")
    page.goto(f"{shop.address}/job/{job}/papers")
    picture(page, "papers-estimate", "#estimate")
    page.goto(f"{shop.address}/job/{job}/mail?about=claim")
    picture(page, "papers-mail")
    page.goto(f"{shop.address}/paperwork")
    picture(page, "paperwork")
    page.goto(f"{shop.address}/paperwork/programmes")
    picture(page, "programmes")
    page.goto(f"{shop.address}/paperwork/figures")
    picture(page, "figures")


def parts(page: Page, shop: Shop, folder: Path) -> None:
    """A maker's list as it was taken, and one search in it."""
    (folder / "list.csv").write_text(LIST, encoding="utf-8")
    page.goto(f"{shop.address}/parts")
    page.click("#list summary")
    page.fill("#maker", "Brackwater")
    page.fill("#list-currency", "USD")
    page.set_input_files("#list-file", str(folder / "list.csv"))
    page.click("text=Take it")
    page.wait_for_selector("#said")
    page.goto(f"{shop.address}/parts")
    picture(page, "parts")
    page.goto(f"{shop.address}/parts?q=start+box")
    picture(page, "parts-found")


def learned(page: Page, shop: Shop) -> None:
    """Nine known-good readings, one of which stands out."""
    small, meter = find_machine(str(SMALL)), find_meter("generic-6000")
    with Record.open(shop.store) as record:
        for number in range(1, 9):
            mended((record, small, meter), number, f"0.{20 + number % 3} ohm")
        mended((record, small, meter), 10, "3.5 ohm")
    page.goto(f"{shop.address}/learned")
    picture(page, "learned")
    page.goto(f"{shop.address}/learned/test-mower")
    picture(page, "learned-machine")
    page.click("section#motor_ohms summary")
    picture(page, "learned-readings", "section#motor_ohms")


def main() -> None:
    """All that lies in the books of the shop."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder)) as shop,
        sync_playwright() as playwright,
    ):
        browser = launch(playwright)
        page = phone(browser).new_page()
        page.goto(f"{shop.address}/learned")
        page.evaluate("localStorage.setItem('by', 'Ana')")
        learned(page, shop)
        parts(page, shop, Path(folder))
        paperwork(page, shop, Path(folder))
        browser.close()


if __name__ == "__main__":
    main()
