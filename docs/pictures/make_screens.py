"""Pictures of the screens, as a phone of 390 x 844 shows them: docs/pictures/screen-*.png.

    python docs/pictures/make_screens.py [bench] [shelf]

A shop of its own is served from a temporary folder and walked through in chromium.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import sync_playwright
from screenshot import picture

from knowngood.places.record import Record
from tests.browser.fourteen import fill
from tests.browser.shop import at_bench, launch, phone, served
from tests.browser.test_bench import settled, to_volts
from tests.browser.test_https import Safe, free_port
from tests.browser.test_no_network import PLAN_THERE, until


def main() -> None:
    """Every state of the bench that a person meets."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder)) as shop,
        sync_playwright() as playwright,
    ):
        browser = launch(playwright)
        context = phone(browser)
        job = shop.open_job(customer="Mrs. Okafor", words="It will not start, it is dead.")
        page = at_bench(context, shop, job)
        picture(page, "first-look")
        page.click("#looked")
        settled(page)
        to_volts(page)
        page.fill("#reading", "57.3")
        picture(page, "reading")
        page.click("#take")
        settled(page)
        to_volts(page, "input ohms, settled")
        picture(page, "step")
        page.fill("#reading", "OL")
        page.click("#take")
        settled(page)
        picture(page, "said")
        page.click("#undo")
        settled(page)
        page.evaluate("document.getElementById('others').open = true")
        page.evaluate("document.getElementById('others').scrollIntoView()")
        picture(page, "other-steps")
        page.click("#call")
        picture(page, "call")
        page.click("dialog >> text=Start box")
        settled(page)
        for test, text in (("bail switch at its tabs, pressed", "OL"),):
            to_volts(page, test)
            page.fill("#reading", text)
            page.click("#take")
            settled(page)
        for _ in range(30):
            if page.locator("#order").count():
                break
            pressed = ".good-answer"
            label = page.get_attribute("#reading", "aria-label") or ""
            if any(w in label for w in ("chain", "upper half", "bail switch at its tabs, pressed")):
                pressed = "#pad .key:text-is('OL')"
            page.locator(pressed).first.click()
            settled(page)
        picture(page, "proven")
        page.click("#order")
        settled(page)
        picture(page, "decided")
        shop.kill()
        alone = shop.open_job()
        shop.start()
        page = at_bench(context, shop, alone)
        page.click("#looked")
        settled(page)
        to_volts(page)
        until(page, PLAN_THERE, alone)
        shop.kill()
        page.fill("#reading", "57.3")
        page.click("#take")
        page.wait_for_selector("#bench[data-asking='']")
        page.wait_for_selector("#slot-ahead .mark, #waits")
        picture(page, "no-contact")
        page.goto("about:blank")
        browser.close()


def shelf() -> None:
    """The shelf with fourteen machines that wait, a job as it is resumed, the copy, the trust."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder)) as shop,
        sync_playwright() as playwright,
    ):
        with Record.open(shop.store) as record:
            ids = fill(record, datetime.now(UTC).astimezone())
        browser = launch(playwright)
        page = phone(browser).new_page()
        page.goto(f"{shop.address}/shelf")
        picture(page, "shelf")
        page.goto(f"{shop.address}/shelf?q=hedge")
        picture(page, "shelf-found")
        page.goto(f"{shop.address}/job/{ids['Okafor']}/shelf")
        page.wait_for_selector("#resume[data-ready]")
        picture(page, "resume")
        page.evaluate("document.getElementById('order').open = true")
        page.evaluate("document.getElementById('places').scrollIntoView()")
        picture(page, "shelf-order")
        page.goto(f"{shop.address}/backup")
        picture(page, "backup")
        browser.close()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        safe = Safe(Path(folder) / "shop.db", free_port(), safe_port=free_port())
        safe.start()
        try:
            browser = launch(playwright)
            page = phone(browser).new_page()
            page.goto(f"http://bench.test:{safe.port}/trust")
            picture(page, "trust")
            browser.close()
        finally:
            safe.stop()


SCREENS = {"bench": main, "shelf": shelf}

if __name__ == "__main__":
    for chosen in sys.argv[1:] or SCREENS:
        SCREENS[chosen]()
